"""Which bytes a survey tries, and what it writes there. Pure: from a profile to probes.

Two neighbouring pages share one probe, the last byte of the one and the first of the other: one line reads
both. ROM and I/O of the profile are never written; a page with I/O in it is not even read unless that was
asked for, because reading a register can change something. Addresses that the monitor needs are not written,
nor any that would reach them where the board does not decode the upper address lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.evidence import Bank, banks_of
from linktool.machine import Machine

PAGE = 0x100
COARSE_S = 40.0
"""What a coarse pass may take, as far as the display is concerned."""
ROW = 8

Use = Literal["write", "look", "skip"]


@dataclass(frozen=True)
class Probe:
    """One or two bytes. use: "write" tries whether they hold what is written, "look" only reads, "skip"
    leaves the page alone for `reason`."""

    range: Range
    use: Use
    reason: str = ""

    @property
    def pages(self) -> tuple[int, ...]:
        return tuple(range(self.range.first // PAGE, self.range.last // PAGE + 1))


def probes_for(machine: Machine, pages: Iterable[int], *, touch_io: bool = False) -> tuple[Probe, ...]:
    """Probes for the pages, in order; each page is in one of them."""
    wanted = sorted(set(pages))
    found: list[Probe] = []
    at = 0
    while at < len(wanted):
        page = wanted[at]
        pair = Range(page * PAGE + PAGE - 1, page * PAGE + PAGE) if page < 0xFF else None
        if (
            pair
            and page % 2 == 0
            and wanted[at + 1 : at + 2] == [page + 1]
            and all(_use(machine, each, touch_io)[0] == "write" for each in (page, page + 1))
            and all(writable(machine, address) for address in (pair.first, pair.last))
        ):
            found.append(Probe(pair, "write"))
            at += 2
            continue
        found.append(_single(machine, page, touch_io))
        at += 1
    return tuple(found)


def _use(machine: Machine, page: int, touch_io: bool) -> tuple[Use, str]:
    """What may be done with a page as a whole."""
    whole = Range(page * PAGE, page * PAGE + PAGE - 1)
    kinds = {area.kind for area in machine.map() if area.range.overlap(whole)}
    if "io" in kinds:
        return ("look", "I/O registers") if touch_io else ("skip", "I/O registers")
    return ("write", "") if kinds & {"ram", "none"} else ("look", "ROM")


def writable(machine: Machine, address: int) -> bool:
    """Neither ROM nor I/O nor reserved."""
    return machine.kind_at(address) in ("ram", "none") and not any(
        address in area.range for area in machine.reserved
    )


def _single(machine: Machine, page: int, touch_io: bool) -> Probe:
    use, reason = _use(machine, page, touch_io)
    start = page * PAGE
    registers = [area.range for area in machine.areas if area.kind == "io"]
    io = next((r for area in registers if (r := area.overlap(Range(start, start + PAGE - 1)))), None)
    if use == "look" and io:
        return Probe(Range(io.first, min(io.first + ROW - 1, io.last)), "look", reason)
    if use == "look":
        middle = start + PAGE // 2
        return Probe(Range(middle, middle + ROW - 1), "look", reason)
    if use == "skip":
        return Probe(Range(start, start + PAGE - 1), "skip", reason)
    edge = start + PAGE - 1 if page % 2 == 0 else start
    inner = (start + PAGE // 2 + offset for offset in range(PAGE // 2))
    outer = (start + offset for offset in range(PAGE // 2))
    for address in (edge, *inner, *outer):
        if writable(machine, address):
            return Probe(Range(address, address), "write")
    names = [a.reason for a in machine.reserved if a.range.overlap(Range(start, start + PAGE - 1))]
    return Probe(Range(start + PAGE // 2, start + PAGE // 2), "look", names[0] if names else "")


def coarse_pages(machine: Machine) -> tuple[int, ...]:
    """Pages for a coarse pass over the profile's banks: all where time allows, else pairs of neighbours,
    evenly apart, at least one pair a bank."""
    banks = [bank for bank in banks_of(machine) if bank.kind == "ram"]
    others = [page for page in range(0x100) if _use(machine, page, False)[0] == "look"]
    step = 2
    while True:
        pages = [page for bank in banks for page in _every(bank, step)]
        if step >= 0x100 or seconds(machine, probes_for(machine, [*pages, *others])) <= COARSE_S:
            return tuple(sorted({*pages, *others}))
        step *= 2


def _every(bank: Bank, step: int) -> list[int]:
    """A pair of pages in each `step` pages of the bank, in the middle of the step."""
    first, last = bank.range.first // PAGE, bank.range.last // PAGE
    if step == 2:
        return list(range(first, last + 1))
    starts = range(first + (step // 2 & ~1), last + 1, step)
    pages = [page for start in starts for page in (start, start + 1) if page <= last]
    return pages or [first, min(first + 1, last)]


def seconds(machine: Machine, probes: Sequence[Probe]) -> float:
    """How long the display takes for a survey of them: each written one is read four times and written
    twice, the others are read twice."""
    dialect = machine.dialect
    characters = 0
    for probe in probes:
        if probe.use == "skip":
            continue
        look = len(speech.examine_line(dialect, probe.range)) + len(
            speech.examine_answer(dialect, probe.range)
        )
        before, after = speech.deposit_head(dialect, probe.range.first)
        write = len(before) + len(after) + 3 * len(probe.range)
        write += len(speech.deposit_answer(dialect, probe.range.first))
        characters += 4 * look + 2 * write if probe.use == "write" else 2 * look
    return characters / machine.screen.rate_cps


def tags(probes: Sequence[Probe], before: Mapping[int, int]) -> Image:
    """What to write: for each address a byte that is not there now, that differs in two bits at least from
    that of any other page of its kind, and turned over for the second byte of a probe."""
    addresses = [
        address
        for probe in probes
        if probe.use == "write"
        for address in range(probe.range.first, probe.range.last + 1)
        if address in before
    ]
    best: dict[int, int] = {}
    least = len(addresses) + 1
    for salt in range(0x100):
        chosen = {address: _tag(address) ^ salt for address in addresses}
        same = sum(chosen[address] == before[address] for address in addresses)
        if same < least:
            best, least = chosen, same
            if not same:
                break
    return Image.from_cells(best.items())


def _tag(address: int) -> int:
    """Seven bits of the page's number in another order, and their parity; odd pages turned over."""
    page = address // PAGE
    mixed = (page // 2 * 0x35 + 0x1B) & 0x7F
    value = mixed << 1 | (mixed.bit_count() & 1)
    return value ^ 0xFF if page % 2 else value


# ---- the guard: which addresses would reach the monitor's memory ----


@dataclass(frozen=True)
class Guard:
    """A cell near the monitor's memory, and other addresses at which it must not show."""

    cell: int
    block: Range
    reads: tuple[int, ...]


def guard_for(machine: Machine, probes: Sequence[Probe]) -> Guard | None:
    """A guard for the probes that are to be written; None where nothing is, or nothing need be guarded."""
    blocks = [
        bank.range
        for bank in banks_of(machine)
        if bank.kind == "ram" and any(area.range.overlap(bank.range) for area in machine.reserved)
    ]
    written = [probe for probe in probes if probe.use == "write"]
    if not blocks or not written:
        return None
    block = blocks[0]
    size = 1 << (len(block) - 1).bit_length()
    last = max(area.range.last for area in machine.reserved if area.range.overlap(block))
    free = [a for a in range(block.first, block.last + 1) if writable(machine, a)]
    if not free:
        return None
    cell = next((address for address in free if address > last), free[-1])
    others = {
        probe.range.first // size * size + cell % size for probe in written if probe.range.first not in block
    }
    lines = {cell ^ 1 << line for line in range(8, size.bit_length() - 1)}
    reads = sorted(
        address
        for address in others | lines
        if machine.kind_at(address) in ("ram", "none") and not _with_io(machine, address)
    )
    return Guard(cell, block, tuple(reads))


def _with_io(machine: Machine, address: int) -> bool:
    return _use(machine, address // PAGE, False)[0] == "skip"


def harmless(machine: Machine, guard: Guard, shown: Iterable[int], probe: Probe) -> bool:
    """Whether a probe may be written, where the guard's cell was seen at the addresses `shown` too."""
    size = 1 << (len(guard.block) - 1).bit_length()
    shown = set(shown)
    if probe.range.first not in guard.block:
        return probe.range.first // size * size + guard.cell % size not in shown
    ignored = [each ^ guard.cell for each in shown if each in guard.block]
    reached = {0}
    for line in ignored:
        reached |= {each ^ line for each in reached}
    return all(
        writable(machine, address ^ turned)
        for address in range(probe.range.first, probe.range.last + 1)
        for turned in reached
    )


def home_of(guard: Guard, shown: Iterable[int], address: int) -> int:
    """The address in the guard's block whose cell shows at `address` too."""
    size = 1 << (len(guard.block) - 1).bit_length()
    home = guard.block.first + address % size
    for each in shown:
        if each in guard.block:
            home &= ~(each ^ guard.cell)
    return home
