"""Places in a source and its includes, by number, and how messages name them.

The assembler carries a place through its work as a string: "7", or "7->3" for line 3 inside a macro that
is used at 7. Here such a string becomes words, and the assembler's token names become words with it.
Place 0 is the whole source.
"""

from __future__ import annotations

import re

from formats.errors import FormatError
from formats.text import shown

_WORDS = {
    '"EOL"': "the end of the line",
    '"LABEL"': "a name",
    '"NUM"': "a number",
    '"STRING"': "text in quotes",
    '"OPCODE"': "an instruction",
    "expression": "a value",
}
_OTHERWISE = tuple(
    (re.compile(pattern, re.I), advice)
    for pattern, advice in (
        (r"\*\s*=", "Write .org ADDRESS for that"),
        (r"\.?\w+\s*(=|\bequ\b)|\.(equ|set|define)\b", "Write .alias NAME VALUE for that"),
        (r"\.?(db|dc\.b|byt|fcb)\b", "Write .byte for that"),
        (r"\.?(dw|dc\.w|fdb|addr)\b", "Write .word for that"),
        (r"[a-z_]\w*(\s+[a-z]{3}\b.*)?$", "If a label stands there, it ends in a colon"),
    )
)
"""How common assemblers write what Ophis writes otherwise (common practice), and what to write for it."""

_TEXT_SHOWN = 48
_MESSAGE_MAX = 160


class SourcePlaces:
    """Every line read so far, in the order it was read."""

    def __init__(self, source: str) -> None:
        self.source = source
        self._lines: list[tuple[str, int, str]] = [(source, 0, "")]

    def __len__(self) -> int:
        return len(self._lines)

    def add(self, source: str, lines: list[str]) -> int:
        """The number of the first of these lines; the others follow."""
        first = len(self._lines)
        self._lines += [(source, number, line.strip()) for number, line in enumerate(lines, 1)]
        return first

    def file(self, place: str) -> str:
        """The file a place is in; for a macro, where it is defined."""
        return self._lines[_last(place)][0]

    def words(self, place: str, main: str = "") -> str:
        """A place in words, without the file's name where that is `main` (the source itself)."""
        *outer, inner = (self._lines[int(part)] for part in place.split("->"))
        used = f", in the macro used at {_line(outer[0], main or self.source)}" if outer else ""
        return _line(inner, main or self.source) + used

    def where(self, place: str) -> str:
        """Source and place, to begin a warning with."""
        return f"{self.source}, {self.words(place)}"

    def error(self, place: str, message: str, hint: str = "") -> FormatError:
        """The assembler's message about a place, with the line's text; where the line is in the manner of
        other assemblers, the hint says how to write it."""
        source, _, text = self._lines[_last(place)]
        if message.startswith(("Expected: ", "Unknown pragma")):
            hint = next((advice for pattern, advice in _OTHERWISE if pattern.match(text)), hint)
        found = f"{shown(text, _TEXT_SHOWN)}: {plain(message)}" if text else plain(message)
        return FormatError(source, self.words(place, source), found, hint=hint)


def plain(message: str) -> str:
    """An Ophis message with its token names as words, and cut where it repeats a long expression."""
    if len(message) > _MESSAGE_MAX:
        half = _MESSAGE_MAX // 2
        message = f"{message[:half]} ... {message[-half:]}"
    if not message.startswith("Expected: "):
        return message
    parts = message.removeprefix("Expected: ").split(", ")
    return "expected " + " or ".join(_WORDS.get(part, part.replace('"', "'")) for part in parts)


def _last(place: str) -> int:
    return int(place.rpartition("->")[2])


def _line(line: tuple[str, int, str], main: str) -> str:
    source, number, _ = line
    if not number:
        return "the whole source"
    return f"line {number}" if source == main else f"line {number} of {source}"
