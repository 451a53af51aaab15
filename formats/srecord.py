"""Motorola S-record, both directions. Source: M68000 Family Programmer's Reference Manual, Appendix C.

A reader of our own: linear in the file's size, every error with its line. Policy:
  a byte twice     same value a warning, two values an error        (formats/placement.py)
  S1, S2, S3       accepted while the address lies within 0000-FFFF
  S5, S6           the count of data records so far must agree
  S7, S8, S9       end of the file; missing: a warning; anything after it: an error. Their address is
                   the start address, except 0000, which files carry that have none (common practice)
The writer gives S0, S1 records, S5 and S9; a start address of 0000 is therefore not kept.
"""

from __future__ import annotations

import re

from formats.errors import FormatError
from formats.image import TOP, Image
from formats.placement import Placement
from formats.reading import Reading
from formats.text import numbered_lines, shown

NAME = "S-record"
BYTES_A_RECORD = 16
_EXPECTED = "S-records"
_RECORD = re.compile(r"[Ss]([0-9])((?:[0-9A-Fa-f]{2})+)")
_FIRST_LINE = re.compile(r"[Ss][0-9][0-9A-Fa-f]{4,}")
_ADDRESS_BYTES = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
_DATA_KINDS, _COUNT_KINDS, _END_KINDS = (1, 2, 3), (5, 6), (7, 8, 9)


def looks_like(first_line: str) -> bool:
    """Whether a file that begins with this line is meant as S-records."""
    return _FIRST_LINE.fullmatch(first_line) is not None


def read(data: bytes | str, source: str) -> Reading:
    """The image of an S-record file. FormatError as the policy above says."""
    placement = Placement(source)
    warnings: list[str] = []
    count = end_line = 0
    start: int | None = None
    for line, text in numbered_lines(data, source, _EXPECTED):
        place = f"line {line}"
        if end_line:
            raise FormatError(
                source,
                place,
                f"{shown(text)} after the end record at line {end_line}",
                "nothing after the end record",
                "Are two files joined? Take them apart",
            )
        kind, address, content = _decode(text, source, place)
        if kind in _DATA_KINDS:
            placement.put(address, content, line)
            count += 1
        elif kind in _COUNT_KINDS and address != count:
            raise FormatError(
                source, place, f"a count of {address} data records", f"{count}, as many as came before"
            )
        elif kind in _END_KINDS:
            end_line = line
            if address > TOP:
                warnings.append(
                    f"{source}, {place}: the start address {address:X} lies outside 0000-FFFF and is left out"
                )
            else:
                start = address or None
    if placement.empty():
        raise FormatError(source, "", "the file holds no data records", _EXPECTED)
    if not end_line:
        warnings.append(f"{source}: no end record (S7, S8 or S9); the file may be cut short")
    return Reading(placement.image(start), (*warnings, *placement.warnings()))


def _decode(text: str, source: str, place: str) -> tuple[int, int, bytes]:
    """(kind, address, data) of one record, its length and checksum proven."""
    match = _RECORD.fullmatch(text)
    if not match:
        raise _no_record(text, source, place)
    kind, record = int(match[1]), bytes.fromhex(match[2])
    if kind not in _ADDRESS_BYTES:
        raise FormatError(source, place, f"record type S{kind}", "S0 to S3 or S5 to S9")
    if record[0] != len(record) - 1:
        raise FormatError(
            source, place, f"{len(record) - 1} bytes after the length", f"{record[0]}, as it says"
        )
    width = _ADDRESS_BYTES[kind]
    if len(record) < width + 2:
        raise FormatError(source, place, f"a length of {record[0]}", f"at least {width + 1} for S{kind}")
    right = ~sum(record[:-1]) & 0xFF
    if record[-1] != right:
        raise FormatError(source, place, f"checksum {record[-1]:02X}", f"{right:02X} for these digits")
    if kind > 3 and len(record) != width + 2:
        raise FormatError(source, place, f"{len(record) - width - 2} data bytes in S{kind}", "none")
    return kind, int.from_bytes(record[1 : 1 + width], "big"), record[1 + width : -1]


def _no_record(text: str, source: str, place: str) -> FormatError:
    expected = "a record: S, a digit, and pairs of hex digits"
    if text[0] not in "Ss" or not text[1:2].isdigit():
        return FormatError(source, place, shown(text), expected)
    odd = re.search(r"[^0-9A-Fa-f]", text[2:])
    if odd:
        return FormatError(
            source, f"{place}, column {odd.start() + 3}", f"{odd[0]!r}, not a hex digit", expected
        )
    return FormatError(source, place, f"{len(text) - 2} hex digits after {text[:2]}", expected)


def write(image: Image) -> str:
    """The image as S-records: an empty S0, S1 with 16 bytes, the count in S5, S9.

    An image has 32,768 records at most, so that S5 always holds their count.
    """
    if not image:
        raise FormatError("", "", "the image is empty: there is nothing to write")
    records = [_encode(0, 0)]
    for segment in image.segments:
        for at in range(0, len(segment.data), BYTES_A_RECORD):
            records.append(_encode(1, segment.first + at, segment.data[at : at + BYTES_A_RECORD]))
    records.append(_encode(5, len(records) - 1))
    records.append(_encode(9, image.start or 0))
    return "\n".join(records) + "\n"


def _encode(kind: int, address: int, data: bytes = b"") -> str:
    width = _ADDRESS_BYTES[kind]
    body = bytes([width + len(data) + 1]) + address.to_bytes(width, "big") + data
    return f"S{kind}{body.hex().upper()}{~sum(body) & 0xFF:02X}"
