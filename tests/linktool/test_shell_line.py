"""A line as words. Reference: Python's shlex, in the cases in which both follow the same rules."""

from __future__ import annotations

import shlex

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.errors import UsageError
from linktool.shell.line import quoted, split, words

plain = st.text(alphabet="ab01.:/-=", min_size=1, max_size=6)
in_quotes = st.text(alphabet="ab 01.:/-", max_size=6).map(lambda text: f'"{text}"')


@given(st.lists(st.one_of(plain, in_quotes), max_size=6), st.sampled_from([" ", "  ", "\t"]))
def test_words_are_those_of_a_shell(parts, blank):
    line = blank.join(parts)
    assert words(line) == shlex.split(line)


@given(st.lists(st.text(alphabet="ab \t01#'=\\", max_size=6), max_size=5))
def test_a_quoted_word_comes_back(texts):
    assert words(" ".join(quoted(text) for text in texts)) == texts


@given(st.text(alphabet="a \"'=#\t", max_size=20))
def test_any_line_is_survived_and_words_stand_where_they_say(line):
    end = 0
    for word in split(line):
        assert end <= word.start < word.end <= len(line)
        end = word.end


def test_a_value_may_be_quoted_and_a_windows_path_needs_no_escapes():
    assert words(r'read 0280 --output="my file.hex" C:\boards\x.hex') == [
        "read", "0280", "--output=my file.hex", r"C:\boards\x.hex",
    ]  # fmt: skip


def test_comments_and_apostrophes():
    assert words("check a.hex # the second time") == ["check", "a.hex"]
    assert words("# nothing") == []
    assert words("note don't forget row#2") == ["note", "don't", "forget", "row#2"]


def test_an_open_quote_is_an_error():
    with pytest.raises(UsageError, match="not closed"):
        words('enter "my file')
