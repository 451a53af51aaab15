"""Faults in words: what is wrong, the numbers, the chip's place, what would decide.

Every kind of cause has its sentences here, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterable

from formats.image import Range, hex4
from linktool.causes import Cause
from linktool.diagnosis import Fault
from linktool.evidence import Source
from linktool.render.text import count, listed

SHOWN = 8
"""Addresses named in a sentence."""

_SWAP = "swap the chip with a neighbour of the same kind"
_NEXT: dict[str, str] = {
    "stuck": (
        f"{_SWAP}, power off first, and `linktool diagnose {{range}}` again. If the fault moves along, it is "
        "the chip; if it stays, its socket, its pins or the data line."
    ),
    "joined bits": (
        "with power off, measure the resistance between the two data lines at each chip of the bank; take "
        "the chips out one by one to see with which the bridge goes."
    ),
    "dead line": (
        "with power off, follow the line from the processor to the memory with a continuity tester; with "
        "power on, see whether it moves at the chips' pins while `linktool read {range}` runs."
    ),
    "dead lines": (
        "see whether that much memory is fitted at all; if so, with power off, follow both lines from the "
        "processor to the memory with a continuity tester."
    ),
    "joined lines": (
        "with power off, measure the resistance between the two lines, at the bank's chips and before their "
        "buffer."
    ),
    "missing": (
        "see whether the bank is fitted and gets its supply; then whether its select line goes active while "
        "`linktool read {range}` runs."
    ),
    "mirrored": (
        "watch the select lines of both banks while `linktool read {range}` runs: one answers when it should "
        "not, or is bridged to the other."
    ),
    "silent": (
        "see whether the chip is fitted, the right way round and in the right socket, and gets its supply; "
        "power off before touching it."
    ),
    "row": (
        f"`linktool survey --deep {{range}}` marches over the whole range; {_SWAP}, power off first, and see "
        "whether the fault moves along."
    ),
    "cells": (
        "`linktool diagnose {cells}` writes and reads these bytes again and again; "
        "`linktool survey --deep {range}` looks for more of them."
    ),
    "other contents": (
        "enter it again and check again: if it then agrees, it had not been entered, was written over, or "
        "was lost with the power. If it does not, `linktool diagnose {range}` tests the bank."
    ),
    "unsteady": (
        "`linktool diagnose {cells}` reads these bytes many times; measure the supply at the chip, look at "
        f"its pins and socket; {_SWAP}, power off first."
    ),
    "noise": (
        "do the same again: what does not come back was the link. Lower the rate, shorten the "
        "cable, look at the ground between computer and board."
    ),
    "unclear": "`linktool diagnose {range}` writes a pattern made to tell causes apart.",
    "still unclear": (
        "`linktool survey --deep {range}` marches over all of it, and lists what bytes should hold and what "
        "they read; what is in the range is lost by that."
    ),
}
"""Kind of cause -> the measurement that would decide."""
_NEXT_FOR_ROM = (
    "read the ROM again with `linktool survey --rom FILE`; see whether the file is of this version; clean "
    "the chip's pins, power off first, and read it in another board or programmer."
)


def bits_text(bits: Iterable[int]) -> str:
    """ "data bits 2 and 3"; "" for none."""
    numbers = [str(bit) for bit in bits]
    if not numbers:
        return ""
    if len(numbers) == 8:
        return "all data bits"
    return ("data bit " if len(numbers) == 1 else "data bits ") + " and ".join(
        part for part in (", ".join(numbers[:-1]), numbers[-1]) if part
    )


def where_text(cause: Cause) -> str:
    return listed(cause.where, "all RAM")


def _addresses(cause: Cause) -> str:
    named = ", ".join(hex4(address) for address in cause.addresses[:SHOWN])
    more = len(cause.addresses) - SHOWN
    return f"{named} and {more} more" if more > 0 else named


def cause_text(cause: Cause) -> str:
    """The cause as a clause: "data bit 3 of 1000-1FFF always reads 0"."""
    bits, where, one = bits_text(cause.bits), where_text(cause), len(cause.bits) == 1
    level = {0: "low", 1: "high"}.get(-1 if cause.value is None else cause.value, "")
    lines_named = " and ".join(f"A{line}" for line in cause.lines)
    part = "" if len(cause.bits) == 8 or not cause.bits else f", for {bits} only"
    if cause.kind == "stuck":
        return f"{bits} of {where} always reads {cause.value}"
    if cause.kind == "joined bits":
        how = f"{level} wins" if level else f"bit {cause.bits[0]} wins"
        return f"{bits} of {where} are joined ({how})"
    if cause.kind == "dead line" and len(cause.lines) > 1:
        one_of = ", ".join(f"A{line}" for line in cause.lines)
        return f"one of the address lines {one_of} makes no difference in {where}{part}"
    if cause.kind == "dead line":
        return f"address line {lines_named} makes no difference in {where}{part}"
    if cause.kind == "dead lines":
        size = len(cause.where[0]) >> 2 if len(cause.where) == 1 else 0
        shows = f": {size} bytes show four times" if size else ""
        return f"address lines {lines_named} make no difference in {where}{shows}"
    if cause.kind == "joined lines":
        return f"address lines {lines_named} are joined in {where} ({level} wins){part}"
    if cause.kind == "missing":
        return f"nothing answers at {where}: what is read does not depend on what was written"
    if cause.kind == "mirrored":
        return f"{where} and {cause.other} are the same memory: what is written to one shows in the other"
    if cause.kind == "silent":
        return f"{bits} of {where} {'is' if one else 'are'} not driven by any chip"
    if cause.kind == "row":
        return f"a row of cells of {bits} in {where} is bad, at {_addresses(cause)}"
    if cause.kind == "cells":
        cells = "a single bad cell:" if len(cause.addresses) == 1 else "single bad cells:"
        return f"{cells} {bits} at {_addresses(cause)}"
    if cause.kind == "other contents":
        return f"{where} holds something else, in most bits of {count(len(cause.addresses), 'byte')}"
    if cause.kind == "unsteady":
        return f"{bits} {'reads' if one else 'read'} differently each time at {_addresses(cause)}"
    if cause.kind == "noise":
        return "noise: the link, the ground or the supply, not one chip"
    differ = "differs" if one else "differ"
    return f"{bits} of {where} {differ} without a pattern, among others at {_addresses(cause)}"


def numbers_text(fault: Fault) -> str:
    """The evidence in numbers."""
    cause, wrong, tested = fault.cause, f"{fault.wrong:,}", count(fault.tested, "byte")
    if cause.kind == "stuck":
        other = 1 - (cause.value or 0)
        return f"it reads {cause.value} in all of {tested}, {wrong} of which should have it {other}"
    if cause.kind in ("dead line", "dead lines", "joined lines", "mirrored"):
        return f"{wrong} of {tested} hold what was written to the address that this would join them with"
    if cause.kind == "missing":
        return f"{wrong} of {tested} read wrong, and none follows what was written"
    if cause.kind == "noise":
        return f"{count(fault.wrong, 'byte')} read wrong once and right thereafter, of {fault.tested:,} read"
    if cause.kind == "unsteady":
        changed = f"{len(cause.addresses):,} of {tested} changed"
        return f"{changed} from one reading to the next, with nothing written"
    speak = "speaks" if fault.wrong == 1 else "speak"
    return f"{wrong} of {tested} {speak} for it"


def chip_text(fault: Fault) -> str:
    """The suspect's place, with how sure that is; "" where none is named."""
    if fault.chip:
        part = f" ({fault.chip.part})" if fault.chip.part else ""
        sure = {"certain": "chip", "likely": "likely chip", "possible": "possibly chip"}
        named = sure.get(fault.chip_confidence, "perhaps chip")
        return f"{named} {fault.chip.position}{part}, its socket or its pins"
    if fault.near:
        return "look between the places " + " and ".join(chip.position for chip in fault.near)
    if fault.cause.kind in ("noise", "unclear", "other contents"):
        return ""
    return "the profile and the evidence point to no single chip"


def next_text(fault: Fault, source: Source = "check") -> str:
    """The measurement that would decide, with the addresses filled in."""
    if source == "rom":
        return _NEXT_FOR_ROM
    where = fault.cause.where[0] if fault.cause.where else Range(0, 0xFFFF)
    cells = Range(min(fault.cause.addresses), max(fault.cause.addresses)) if fault.cause.addresses else where
    kind: str = fault.cause.kind
    if kind == "unclear" and source == "pattern":
        kind = "still unclear"
    return _NEXT[kind].format(range=where, cells=cells)
