"""Completion: verbs, options, values, files with blanks in their names."""

from __future__ import annotations

from pathlib import Path

import pytest

from linktool.arguments import FormatName, Kind, Known
from linktool.errors import UsageError
from linktool.shell.completion import complete
from linktool.shell.own_verbs import VERBS

KNOWN = Known(
    machines=("dot", "heron"),
    ports=("/dev/ttyUSB0", "board:"),
    programs=("smoke", "stars"),
    symbols=("char_out", "monitor"),
    ranges=("0000-0FFF", "0280-02FF"),
    areas=("rom", "stack"),
)


def known(kind: Kind) -> Known:
    return KNOWN


def offered(line: str) -> list[str]:
    return [each.text for each in complete(line, VERBS, known).candidates]


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "blink.hex").touch()
    (tmp_path / "my board").mkdir()
    (tmp_path / "my board" / "first try.hex").touch()
    return tmp_path


def test_verbs_at_the_start():
    assert offered("ent") == ["enter"]
    assert {"help", "quit", "enter", "check"} <= set(offered(""))
    assert all(each.help for each in complete("", VERBS, known).candidates)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("run mon", ["monitor"]),
        ("read 02", ["0280-02FF"]),
        ("read 0000-0FFF 02", ["0280-02FF"]),
        ("machine h", ["heron"]),
        ("machines d", ["dot"]),
        ("port /dev", ["/dev/ttyUSB0"]),
        ("enter x --force st", ["stack"]),
        ("enter x --force=st", ["stack"]),
        ("plan x --layout s", ["screen"]),
        ("read 0280 --as c", ["code"]),
        ("enter --run mo", ["monitor"]),
        ("help scr", ["screen"]),
        ("machine heron d", []),
        ("nonsense x", []),
        ("enter # com", []),
    ],
)
def test_values(line, expected, files):
    assert offered(line) == expected


def test_options_once_given_are_offered_no_more_but_those_that_may_repeat():
    assert offered("enter x --no") == ["--no-check"]
    assert offered("enter x --no-check --no") == []
    assert "--force" in offered("enter x --force stack --f")
    assert "--port" in offered("enter x --")


def test_files_and_programs_for_an_image(files):
    assert offered("enter s") == ["smoke", "stars"]
    assert offered("enter bl") == ["blink.hex"]
    assert offered("convert sm") == []  # no program's name there


def test_names_with_blanks_are_quoted(files):
    completion = complete("enter m", VERBS, known)
    assert [each.text for each in completion.candidates] == ['"my board/']
    assert not completion.candidates[0].final
    assert completion.start == len("enter ")
    assert offered('enter "my board/') == ['"my board/first try.hex"']
    assert offered("enter 'my board/f") == ["'my board/first try.hex'"]


def test_a_value_after_an_equals_sign_begins_there(files):
    line = "read 0280 --output=bl"
    completion = complete(line, VERBS, known)
    assert completion.start == len("read 0280 --output=")
    assert [each.text for each in completion.candidates] == ["blink.hex"]


def test_formats_are_offered_and_a_near_one_is_named():
    assert "srecord" in offered("convert a.hex b --to ") and "source" not in offered("convert a.hex b --to ")
    assert "source" in offered("plan a --format ")
    with pytest.raises(UsageError, match=r"'hex' is no format\. Did you mean intel-hex\?"):
        FormatName().parse("hex")
