"""program.toml: what is read from it, and how each thing that will not do is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.errors import UsageError
from linktool.program import Outcome, Parameter, Span
from tests.linktool.program_texts import DESCRIPTION, changed, program


def test_a_description_is_read() -> None:
    read = program()
    assert (read.title, read.question, read.ends) == ("A trial", "Does it try?", "monitor")
    assert read.needs == ("monitor",)
    assert read.zero_page == 2
    assert read.parameters == (
        Parameter("first", "where it writes", "free_first", 4, 0, 0xFFFF),
        Parameter("value", "what it writes", "$41", 2, 0, 0x7F),
    )
    assert read.writes == (Span("first", "first"),)
    assert read.outcomes == (Outcome(True, (), "it wrote {value} to {first}"),)
    assert read.beat is None
    assert not read.fixed
    assert not read.one_page


REFUSED = [
    ('title = "A trial"', "", "[top level] title is missing, and it is needed; there are: "),
    ('title = "A trial"', "title = 3", "title is 3; allowed: text in quotes"),
    ('title = "A trial"', 'title = " "', "title is ' '; allowed: one line of text"),
    ('ends = "monitor"', 'ends = "never"', "ends is 'never'; allowed: monitor, key, reset"),
    ("zero_page = 2", "zero_page = 257", "zero_page is 257; allowed: a whole number from 0 to 256"),
    ("zero_page = 2", "zero_page = 2\ncolour = 1", "colour is not known; allowed: place, title, question"),
    ('needs = ["monitor"]', 'needs = "monitor"', "needs is 'monitor'; allowed: a list of texts"),
    ('needs = ["monitor"]', 'needs = ["a b"]', "needs names 'a b'; allowed: symbols of a machine profile"),
    ('needs = ["monitor"]', 'needs = ["zp"]', "needs names 'zp'"),
    ('name = "first"', 'name = "First"', "[parameter 1] name is 'First'; allowed: a-z"),
    ('name = "first"', 'name = "columns"', "[parameter 1] name is 'columns'"),
    ('name = "first"', 'name = "value"', "value is there twice"),
    ('name = "value"', 'name = "monitor"', "monitor is there twice"),
    ("digits = 2", "digits = 3", "digits is 3; allowed: 2, 4"),
    ('most = "7F"', 'most = "1FF"', "most is '1FF'; allowed: hex digits in quotes, at most FF"),
    ('most = "7F"', 'least = "80"\nmost = "7F"', "least is '80'"),
    ('default = "$41"', 'default = "41"', "has '41'; allowed: names and $ hex numbers"),
    ('default = "free_first"', 'default = "somewhere"', "parameter names somewhere; allowed: first, value"),
    ('last = "first"', 'last = "first+"', "writes has 'first+'"),
    ('last = "first"', 'last = "first"\nstep = "odd"', "writes names odd"),
    ("ok = true", "ok = 1", "ok is 1; allowed: true or false"),
    ("prints = []", 'prints = ["{x"]', "outcome has '{'; allowed: braces round the name"),
    ("prints = []", 'prints = ["{?x}"]', "{?name:digits}"),
    ("prints = []", 'prints = ["{=tune}"]', "{=ruler}"),
    ("prints = []", 'prints = ["{value:7}"]', "after the colon 2, 4, d, key, code"),
    ("prints = []", 'prints = ["{pattern}"]', "outcome names pattern"),
    ("prints = []", "prints = []\nrepeats = true", "true only with one line in prints"),
    ("{value} to", "{found} to", "outcome names found"),
    ('says = "it', 'times = "often"\nsays = "it', "outcome names often"),
    ("[[writes]]", "[cost]\nlast = 3\n[[writes]]", "cost has 'last'; allowed: fixed, bytes, first, value"),
    ("[[writes]]", "[place]\nfixed = 1\n[[writes]]", "[place] fixed is 1; allowed: true or false"),
    ("[[writes]]", "[place]\nhome = 1\n[[writes]]", "[place] home is not known; allowed: fixed, one_page"),
    ("[[writes]]", '[beat]\ncharacter = "."\ncycles = 9\ntimes = 3\n[[writes]]', "cycles is 9; allowed"),
    ("[[writes]]", '[beat]\ncharacter = ".."\n[[writes]]', "one printing character"),
    ("[[writes]]", '[[leaves]]\nfirst = "first"\nlast = "first"\n[[writes]]', "one of the two"),
    ("[[outcome]]", "[[ending]]", "ending is not known"),
    ('title = "A trial"', 'title = "A trial', "is not TOML"),
]


@pytest.mark.parametrize(("old", "new", "message"), REFUSED)
def test_what_will_not_do_is_refused_with_file_and_key(old: str, new: str, message: str) -> None:
    with pytest.raises(UsageError) as caught:
        program(changed(old, new))
    assert caught.value.message.startswith("trial/program.toml: ")
    assert message in caught.value.message


def test_a_description_without_an_outcome_is_refused() -> None:
    with pytest.raises(UsageError, match="at least one"):
        program(DESCRIPTION.partition("[[outcome]]")[0])


def test_what_is_captured_may_be_said() -> None:
    lines = changed("prints = []", 'prints = ["{?expected:2} {?found:2}"]')
    said = changed("it wrote {value} to {first}", "{expected} {found} {bits} {bits:8} {more}", lines)
    assert program(said).outcomes[0].says.startswith("{expected}")


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        program(text)
    except UsageError as error:
        assert error.message.startswith("trial/program.toml: ")


@given(st.data())
def test_any_mutation_is_read_or_refused(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(DESCRIPTION) - 1))
    length = data.draw(st.integers(0, 12))
    put = data.draw(st.text(alphabet='abz09"[]{}=?:.,\n #$+-', max_size=6))
    try:
        program(DESCRIPTION[:at] + put + DESCRIPTION[at + length :])
    except UsageError as error:
        assert error.message.startswith("trial/program.toml: ")
