"""Bytes of a text format as numbered lines of plain ASCII.

Line ends may be LF, CR LF or CR alone; blanks around a line are dropped, and so are the ^Z bytes with
which old systems pad the end of a text file (common practice). Anything that is not plain ASCII is
refused with the place and a guess at what it is. Nothing here knows a format.
"""

from __future__ import annotations

from collections.abc import Iterator

from formats.errors import FormatError

BLANKS = " \t\f\v"
_PLAIN = bytes(range(0x20, 0x7F)) + b"\t\f\v\n"
_MARKS = (
    (b"\xef\xbb\xbf", "a UTF-8 byte order mark"),
    (b"\xff\xfe", "UTF-16 text"),
    (b"\xfe\xff", "UTF-16 text"),
)
_ASCII_HINT = "Save it as plain ASCII text"


def shown(text: str, limit: int = 32) -> str:
    """Text from a file, quoted and cut, for a message."""
    return repr(text if len(text) <= limit else text[: limit - 3] + "...")


def normal_line_ends(data: bytes) -> bytes:
    """Every line end as LF, without the ^Z padding at the end."""
    return data.rstrip(b"\x1a").replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def refuse_marks(data: bytes, source: str, expected: str) -> None:
    """FormatError for a byte order mark, UTF-16 and an empty file."""
    if not data:
        raise FormatError(source, "", "the file is empty", expected)
    for mark, name in _MARKS:
        if data.startswith(mark):
            raise FormatError(source, "", f"the file begins with {name}", expected, _ASCII_HINT)
    head = data[:64]
    if len(head) >= 4 and (not any(head[::2]) or not any(head[1::2])) and any(head):
        raise FormatError(source, "", "the file looks like UTF-16 text without a mark", expected, _ASCII_HINT)


def numbered_lines(data: bytes | str, source: str, expected: str) -> Iterator[tuple[int, str]]:
    """(line number from 1, text without blanks around it) for every line that is not blank.

    `expected` names the format's content for the messages. FormatError for an empty file, for
    byte order marks and UTF-16, and for any byte that is not printable ASCII, a blank or a line end.
    """
    raw = data.encode("utf-8", "surrogatepass") if isinstance(data, str) else bytes(data)
    refuse_marks(raw, source, expected)
    normal = normal_line_ends(raw)
    odd = normal.translate(None, _PLAIN)
    if odd:
        raise _not_text(normal, odd[0], source, expected)
    for number, line in enumerate(normal.decode("ascii").split("\n"), 1):
        text = line.strip(BLANKS)
        if text:
            yield number, text


def _not_text(data: bytes, odd: int, source: str, expected: str) -> FormatError:
    at = data.index(odd)
    line, column = data.count(b"\n", 0, at) + 1, at - data.rfind(b"\n", 0, at)
    return FormatError(
        source,
        f"line {line}, column {column}",
        f"byte {odd:02X}, which is not plain text",
        expected,
        "Is it a binary file? Give --format to say what it is",
    )
