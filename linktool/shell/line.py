"""A line of the shell as words. Blanks part words; a word, or what follows its "=", may stand in quotes,
single or double; "#" at the start of a word begins a comment. There is no escape character, so that the
paths of every system can be written as they are, and an apostrophe within a word is just one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from linktool.errors import UsageError

BLANKS = " \t"
QUOTES = "\"'"


@dataclass(frozen=True)
class Word:
    """text: without its quotes. start, end: where it stands in the line. quote: the quote it is in, or "".
    open: that quote is not closed yet."""

    text: str
    start: int
    end: int
    quote: str = ""
    open: bool = False


def split(line: str) -> tuple[Word, ...]:
    """The words of a line, its comment left out."""
    words: list[Word] = []
    at = 0
    while at < len(line):
        if line[at] in BLANKS:
            at += 1
            continue
        if line[at] == "#":
            break
        words.append(_word(line, at))
        at = words[-1].end
    return tuple(words)


def _word(line: str, start: int) -> Word:
    text, quote, at, is_open = "", "", start, False
    while at < len(line):
        character = line[at]
        if is_open:
            if character == quote:
                is_open = False
            else:
                text += character
        elif character in BLANKS:
            break
        elif character in QUOTES and (at == start or line[at - 1] == "="):
            quote, is_open = character, True
        else:
            text += character
        at += 1
    return Word(text, start, at, quote, is_open)


def words(line: str) -> list[str]:
    """The words' texts. UsageError for a quote that is not closed."""
    found = split(line)
    if found and found[-1].open:
        raise UsageError(f"the quote {found[-1].quote} is not closed", f"Add {found[-1].quote} at its end")
    return [word.text for word in found]


def quoted(text: str) -> str:
    """`text` as one word of a line. What has a blank and both kinds of quotes in it cannot be one."""
    plain = text and not any(character in BLANKS for character in text)
    if plain and text[0] not in QUOTES + "#" and not re.search("=[\"']", text):
        return text
    quote = "'" if '"' in text else '"'
    return f"{quote}{text}{quote}"
