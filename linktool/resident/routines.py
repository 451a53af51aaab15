"""The resident routines assembled for one machine and one placement. Pure, but for reading the sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from formats import assembly
from formats.image import Image, Range
from formats.reading import Reading, ReadOptions
from linktool.machine import Machine
from linktool.resident.placement import CELLS, Placement, lacking

FOLDER = Path(__file__).parent
CHECKER_BYTES, RECEIVER_BYTES, READER_BYTES, BOOTSTRAP_BYTES = 83, 89, 54, 32
"""Sizes of the routines, the same at every address; a test holds them against the sources."""

READER_AT = 184
"""Where the reader begins in the window: the first row behind checker and receiver."""

LEAVE_BOOTSTRAP = " "
ROW = 8
"""Bytes the bootstrap can place apart from others."""

USUAL_MARK = "\x1b"


@dataclass(frozen=True)
class Routines:
    """What is put into the machine. checker: the root of trust. receiver: right behind it. reader: the last
    in the bootstrap's window. The two are empty where the placement has no room for them. check, receive,
    read: where they are run. mark: the key between blocks."""

    placement: Placement
    checker: Image
    receiver: Image
    reader: Image
    check: int
    receive: int
    read: int
    mark: str

    @property
    def cells(self) -> int:
        return self.placement.cells

    def overwritten(self, receiver: bool) -> tuple[Range, ...]:
        """What the routines take of the machine's memory, with or without the receiver."""
        zero, code = self.placement.page_zero, self.placement.code
        if not receiver:
            used = CELLS + (BOOTSTRAP_BYTES if self.placement.window and self.placement.size else 0)
            zero = Range(zero.first, zero.first + used - 1)
            code = Range(code.first, code.first + CHECKER_BYTES - 1)
        return (zero, self.placement.window or code)


def length(receiver: bool) -> int:
    """Bytes of code."""
    return CHECKER_BYTES + (RECEIVER_BYTES if receiver else 0)


def mark_of(machine: Machine) -> str:
    """The key between blocks: the monitor's cancel key, so that a monitor drops a stray block; where that
    is one of the 64 characters or there is none, ESC. Never the key that ends a line."""
    key = machine.dialect.cancel_key
    usable = key and not " " <= key <= "_" and key != machine.dialect.end_key
    return key if usable else USUAL_MARK


def assembled(machine: Machine, placement: Placement) -> Routines:
    """The routines for `placement`; with the receiver where there is room for it and its buffer."""
    mark = mark_of(machine)
    known = {
        **machine.symbols,
        "cells": placement.cells,
        "buffer": placement.buffer,
        "size": placement.size,
        "mark": ord(mark),
    }
    checker = _assembled("checker.s", placement.code.first, known)
    links = {name: checker.labels[name] for name in ("sum", "home")}
    receiver, receive = Image(), 0
    if placement.size and len(placement.code) >= length(True) and not lacking(machine, True):
        read = _assembled("receiver.s", placement.code.first + CHECKER_BYTES, {**known, **links})
        receiver, receive = Image(read.image.segments), read.labels["receive"]
    reader, reads = Image(), 0
    if placement.window:
        read = _assembled("reader.s", placement.window.first + READER_AT, {**known, **links})
        reader, reads = Image(read.image.segments), read.labels["read"]
    check = checker.labels["check"]
    return Routines(placement, Image(checker.image.segments), receiver, reader, check, receive, reads, mark)


def bootstrap(machine: Machine, placement: Placement) -> Image | None:
    """The bootstrap for a placement, where the buffer will be; None where it cannot be used."""
    if "key_in" not in machine.symbols or not placement.window or placement.size < BOOTSTRAP_BYTES:
        return None
    symbols = {**machine.symbols, "cells": placement.cells, "window": placement.window.first}
    return Image(_assembled("bootstrap.s", placement.buffer, symbols).image.segments)


def bootstrap_keys(placement: Placement, image: Image) -> str:
    """What the bootstrap must be sent to put `image` there, row for row; without the key that ends it.

    ValueError for bytes that lie outside the window, or in its first row, which has no place of its own.
    """
    keys = []
    for segment in image.segments:
        for address, value in enumerate(segment.data, segment.first):
            offset = address - placement.window.first if placement.window else 0
            if not ROW <= offset <= 0xFF:
                raise ValueError(f"{address:04X} is not in the bootstrap's window")
            if address == segment.first and offset % ROW:
                raise ValueError(f"{address:04X} does not begin a row")
            if offset % ROW == 0:
                keys.append(chr(0x20 + offset // ROW))
            keys.append(chr(0x50 + (value >> 4)) + chr(0x50 + (value & 0x0F)))
    return "".join(keys)


def _assembled(name: str, address: int, symbols: Mapping[str, int]) -> Reading:
    return _assembled_once(name, address, tuple(sorted(symbols.items())))


@lru_cache(maxsize=64)
def _assembled_once(name: str, address: int, symbols: tuple[tuple[str, int], ...]) -> Reading:
    options = ReadOptions(at=address, symbols=dict(symbols))
    return assembly.read((FOLDER / name).read_bytes(), name, options)
