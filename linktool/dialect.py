r"""What to type to a monitor, and how to read its answers. Pure: text in, text out.

The rules are data, `machine.Dialect`. An expected answer is a text in which ANY stands for one hex
digit the host cannot know; so every answer's length is known before it comes. "\r" is a new line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from formats.image import Image, Range, hex4
from linktool.machine import Dialect

ANY = "\0"
"""In an expected answer: one hex digit, whichever."""

_HEX = frozenset("0123456789ABCDEF")


def byte_words(dialect: Dialect, readable: bool = False) -> tuple[str, ...]:
    """How each of the 256 bytes is typed: the fewest digits the monitor takes, or always two."""
    return _byte_words(2 if readable else dialect.byte_digits_min)


@lru_cache(maxsize=4)
def _byte_words(digits: int) -> tuple[str, ...]:
    return tuple(f"{value:0{digits}X}" for value in range(256))


def address_word(dialect: Dialect, address: int, readable: bool = False) -> str:
    """How an address is typed: the fewest digits the monitor takes, or always four."""
    return hex4(address) if readable else f"{address:0{dialect.address_digits_min}X}"


def deposit_head(dialect: Dialect, address: int, readable: bool = False) -> tuple[str, str]:
    """What stands before and after the bytes of a deposit line with an address."""
    template = (dialect.deposit_readable or dialect.deposit) if readable else dialect.deposit
    before, after = template.split("{bytes}")
    word = address_word(dialect, address, readable)
    return before.replace("{address}", word), after.replace("{address}", word)


def more_head(dialect: Dialect) -> tuple[str, str] | None:
    """The same for a line that goes on where the last one stopped; None where there is no such line."""
    if not dialect.deposit_more:
        return None
    before, after = dialect.deposit_more.split("{bytes}")
    return before, after


def deposit_answer(dialect: Dialect, address: int) -> str:
    """What the machine prints after the end key of a deposit line with an address."""
    shown = dialect.deposit_answer.replace("{address}", hex4(address)).replace("{byte}", ANY * 2)
    return dialect.end_echo + shown + dialect.ready


def more_answer(dialect: Dialect) -> str:
    """The same for a continuation line."""
    return dialect.end_echo + dialect.more_answer + dialect.ready


def examine_line(dialect: Dialect, wanted: Range) -> str:
    """The line that dumps `wanted`, without its end key."""
    line = dialect.examine.replace("{first}", address_word(dialect, wanted.first))
    return line.replace("{last}", address_word(dialect, wanted.last))


def run_line(dialect: Dialect, address: int) -> str:
    """The line that starts a program, without its end key."""
    return dialect.run.replace("{address}", address_word(dialect, address))


def run_answer(dialect: Dialect, address: int) -> str:
    """What the monitor itself prints before the program runs."""
    shown = dialect.run_answer.replace("{address}", hex4(address)).replace("{byte}", ANY * 2)
    return dialect.end_echo + shown


def rows(dialect: Dialect, wanted: Range) -> Iterator[Range]:
    """The rows of a dump of `wanted`: broken at multiples of the row length."""
    at = wanted.first
    while at <= wanted.last:
        last = min(at - at % dialect.row_bytes + dialect.row_bytes - 1, wanted.last)
        yield Range(at, last)
        at = last + 1


def row_text(dialect: Dialect, row: Range) -> str:
    """One row as it will be printed, ANY for each digit of its bytes."""
    cells = dialect.separator.join([ANY * 2] * len(row))
    return dialect.row.replace("{address}", hex4(row.first)).replace("{bytes}", cells)


def examine_answer(dialect: Dialect, wanted: Range) -> str:
    """The whole answer to `examine_line`."""
    return dialect.end_echo + "".join(row_text(dialect, row) for row in rows(dialect, wanted)) + dialect.ready


def same(expected: str, found: str) -> bool:
    """Whether `found` is the expected answer, digit places filled with hex digits."""
    return len(expected) == len(found) and all(
        character == wanted or (wanted == ANY and character in _HEX)
        for wanted, character in zip(expected, found, strict=True)
    )


@dataclass(frozen=True)
class Reading:
    """What a dump gave: the rows that stood exactly as they should, and those that did not."""

    image: Image
    spoilt: tuple[Range, ...]


def read_rows(dialect: Dialect, wanted: Range, answer: str) -> Reading:
    """The bytes in the answer to an examine of `wanted`.

    A row counts only where it stands whole, in its own place of the order, with its own address;
    everything else is `spoilt` and is to be asked for again. Any text is survived.
    """
    expected = list(rows(dialect, wanted))
    lines = answer.split("\r")
    if dialect.end_echo == "\r" and lines and not lines[0]:
        lines = lines[1:]
    addressed = "{address}" in dialect.row
    if not addressed and len(lines) < len(expected):
        return Reading(Image(), tuple(expected))
    runs: list[tuple[int, bytes]] = []
    spoilt: list[Range] = []
    at = 0
    for number, row in enumerate(expected):
        shape = row_text(dialect, row).removesuffix("\r")
        places = range(at, len(lines)) if addressed else range(number, number + 1)
        for place in places:
            if same(shape, lines[place]):
                runs.append((row.first, _row_bytes(shape, lines[place])))
                at = place + 1
                break
        else:
            spoilt.append(row)
    return Reading(Image.from_runs(runs), tuple(spoilt))


def _row_bytes(shape: str, line: str) -> bytes:
    digits = "".join(character for wanted, character in zip(shape, line, strict=True) if wanted == ANY)
    return bytes.fromhex(digits)


def printable(text: str, newline: str = "\n") -> str:
    """Text from the wire as it may be shown to a person: the 64-character set (RFC 20, columns 2 to 5),
    new lines as `newline`, lower case folded, everything else as a dot."""
    shown = []
    for character in text:
        if character == "\r":
            shown.append(newline)
        elif "a" <= character <= "z":
            shown.append(character.upper())
        else:
            shown.append(character if " " <= character <= "_" else ".")
    return "".join(shown)


_NEWLINES = {"cr": re.compile("[\0\n]"), "lf": re.compile("[\0\r]"), "crlf": re.compile("[\0\n]")}


def received_text(data: bytes, newline: str) -> str:
    r"""Bytes from the wire as text: bit 7 cleared, the link's new line as "\r", fillers dropped."""
    text = data.decode("latin-1") if data.isascii() else bytes(byte & 0x7F for byte in data).decode("ascii")
    text = _NEWLINES[newline].sub("", text)
    return text.replace("\n", "\r") if newline == "lf" else text


def key_bytes(text: str, fold: bool, high_bit: bool) -> bytes:
    """Keys as the adapter wants them: folded to upper case, bit 7 set where asked.

    ValueError for a character that is no 7-bit code.
    """
    folded = "".join(c.upper() if "a" <= c <= "z" else c for c in text) if fold else text
    try:
        codes = folded.encode("ascii")
    except UnicodeEncodeError as error:
        raise ValueError(f"{folded[error.start]!r} is no 7-bit character") from None
    return bytes(code | 0x80 for code in codes) if high_bit else codes
