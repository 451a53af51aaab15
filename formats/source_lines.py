"""The lines of an assembly source, as the assembler can take them: ASCII, with UTF-8 only in comments.

A character outside ASCII would turn into some byte or other in a string, so it is refused there.
"""

from __future__ import annotations

from formats.errors import FormatError
from formats.text import normal_line_ends, refuse_marks

_EXPECTED = "6502 assembly source"


def source_lines(data: bytes, source: str) -> list[str]:
    """Every line without its end, comments with other than ASCII cut off. FormatError with the line."""
    refuse_marks(data, source, _EXPECTED)
    return [_line(raw, source, number) for number, raw in enumerate(normal_line_ends(data).split(b"\n"), 1)]


def _line(raw: bytes, source: str, number: int) -> str:
    try:
        line = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise FormatError(
            source, f"line {number}", f"byte {raw[error.start]:02X}, which is not UTF-8 text", _EXPECTED
        ) from error
    if not line.isascii():
        line = without_comment(line)
    for character in line:
        if not (" " <= character <= "~" or character in "\t\f\v"):
            raise FormatError(
                source, f"line {number}", f"the character {character!r}", "ASCII, except in comments"
            )
    return line


def without_comment(line: str) -> str:
    """The line up to its comment; quotes and backslashes count as they do to Ophis."""
    quoted = escaped = False
    for at, character in enumerate(line):
        if escaped:
            escaped = False
        elif character == "\\":
            escaped = True
        elif character == '"':
            quoted = not quoted
        elif character == ";" and not quoted:
            return line[:at]
    return line
