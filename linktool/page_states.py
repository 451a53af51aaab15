"""What a page answers as, from what was read there before and after a byte was written. Pure.

A page that keeps what is written is RAM. One that shows what was written to another page shares its cells.
One that stays as it was is ROM if it holds different bytes, and nothing at all if it reads as an undriven bus
does: the high half of the address, which was on the bus last, or all ones or zeros (common practice). A ROM
holds such bytes too: beside a page that answers, or where the board's empty pages read otherwise, a whole row
is looked at. A place where some bits keep and others do not, or that changes by itself, is bad RAM where the
profile has RAM, and looks like I/O elsewhere. So is a single page of RAM that does not take what is written
while the pages beside it do: ROM, and memory that is not there, come in more than one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from formats.image import Image
from linktool.evidence import floats
from linktool.probes import PAGE, Probe

State = Literal["ram", "faulty", "rom", "io", "floating", "mirror", "in use", "skipped", "not probed"]


@dataclass(frozen=True)
class Page:
    """One page of 256 bytes. of: the page it mirrors. shown: a byte that was read there. reason: why it was
    not written, or not touched."""

    number: int
    state: State
    of: int | None = None
    shown: int | None = None
    reason: str = ""


Readings = Mapping[int, tuple[int, ...]]


Idle = Literal["high half", "ones", "zeros"]
"""How a bus reads that nothing drives."""


@dataclass(frozen=True)
class Looked:
    """What a survey read: before anything was written, after the tags were, and of whole rows at last.
    followed: of addresses that showed another one's tag, after that one's was turned over."""

    before: Readings
    tags: Image
    after: Readings
    rows: Readings
    followed: Readings = field(default_factory=dict)

    def unchanged(self, address: int) -> bool:
        """Whether a written address reads as before, each time."""
        before, after = self.before.get(address, ()), self.after.get(address, ())
        return bool(before and after) and set(after) == {before[-1]} != {self.tags.get(address)}

    @cached_property
    def idle(self) -> Idle | None:
        """What most addresses read that took nothing and look as if nothing were there; None where there are
        too few to say."""
        ways: Counter[Idle] = Counter()
        for address, _ in self.tags.cells():
            value = self.after[address][-1] if self.unchanged(address) else None
            if value is not None and floats(address, value):
                ways["high half" if value == address >> 8 else "ones" if value else "zeros"] += 1
        way, often = max(ways.items(), key=lambda each: each[1], default=(None, 0))
        return way if often >= ENOUGH and 2 * often > ways.total() else None


ERASED = "a ROM with nothing in it reads so too"
"""Said of a page that reads as if nothing were there, where it is not known how that reads on this board."""

ENOUGH = 4
"""Empty pages that must read alike before it is known how the board's bus reads where nothing drives it."""


def page_states(probes: tuple[Probe, ...], looked: Looked, kinds: Mapping[int, str]) -> tuple[Page, ...]:
    """A state for each page of the probes. kinds: what the profile has at an address of each page."""
    homes = homes_of(looked, kinds)
    pages = []
    for probe in probes:
        for number in probe.pages:
            kind = kinds[number]
            if probe.use == "skip":
                pages.append(Page(number, "skipped", reason=probe.reason))
            elif probe.use == "look":
                pages.append(_only_read(probe, number, looked, kind))
            else:
                address = next(a for a in (probe.range.first, probe.range.last) if a // PAGE == number)
                pages.append(_written(address, looked, kind, homes))
    return _without_lone_ones(pages, kinds)


def _without_lone_ones(pages: Sequence[Page], kinds: Mapping[int, str]) -> tuple[Page, ...]:
    """A page of RAM that neither neighbour is like is bad, not another kind of memory."""
    apart = ("in use", "not probed")
    memory = [page for page in pages if kinds[page.number] == "ram" and page.state not in apart]
    lone = {
        page.number
        for before, page, after in zip([None, *memory], memory, [*memory[1:], None], strict=False)
        if page.state in ("rom", "floating")
        and (before or after)
        and all(other is None or other.state in ("ram", "faulty") for other in (before, after))
    }
    return tuple(replace(page, state="faulty") if page.number in lone else page for page in pages)


def homes_of(looked: Looked, kinds: Mapping[int, str]) -> dict[int, int]:
    """Each address that shows what was written to another one, or whose cell another one shows -> the one of
    them that is where the memory belongs. Only addresses with the same low half are held together. What read
    the same before the tags were written does not show a tag, though it may read like one by chance: an
    undriven bus reads another byte on every page."""
    sharing: dict[tuple[int, int], list[int]] = {}
    tags = dict(looked.tags.cells())
    owners = {(address % PAGE, value): address for address, value in tags.items()}
    for address in tags:
        read = looked.after.get(address, ())
        owner = owners.get((address % PAGE, read[-1])) if len(set(read)) == 1 else None
        if owner is None:
            continue
        if owner != address and looked.unchanged(address) and not looked.unchanged(owner):
            continue
        own = looked.after.get(owner, ())
        if own and own[-1] == tags[owner]:
            sharing.setdefault((address % PAGE, read[-1]), []).append(address)
    homes: dict[int, int] = {}
    for addresses in sharing.values():
        home = min(addresses, key=lambda a: (kinds[a // PAGE] != "ram", a))
        true = [address for address in addresses if _follows(address, home, looked)]
        if len(true) > 1:
            homes.update((address, home) for address in true)
    return homes


def _follows(address: int, home: int, looked: Looked) -> bool:
    """Whether an address shows what was written to `home` later too, as far as that was tried: damaged bits
    can make one tag look like another once."""
    tag, own, read = looked.tags.get(home), looked.followed.get(home), looked.followed.get(address)
    if not own or not read or own[-1] == tag:
        return True
    return read[-1] == own[-1]


def _only_read(probe: Probe, number: int, looked: Looked, kind: str) -> Page:
    cells = {a: looked.before.get(a, ()) for a in range(probe.range.first, probe.range.last + 1)}
    values = [readings[-1] for readings in cells.values() if readings]
    shown = values[0] if values else None
    if kind == "ram":
        return Page(number, "in use", shown=shown, reason=probe.reason)
    if kind == "io":
        return Page(number, "io", shown=shown, reason=probe.reason)
    if not values:
        return Page(number, "not probed", reason="it could not be read")
    if any(len(set(readings)) > 1 for readings in cells.values()):
        return Page(number, "io", shown=shown)
    nothing = _empty(cells) and all(floats(a, readings[-1]) for a, readings in cells.items() if readings)
    return Page(number, "floating" if nothing else "rom", shown=shown)


def _empty(cells: Readings) -> bool:
    """Whether a row reads as if nothing were there: one byte throughout, or each address's high half."""
    found = {address: readings[-1] for address, readings in cells.items() if readings}
    return len(set(found.values())) == 1 or all(value == address >> 8 for address, value in found.items())


def _written(address: int, looked: Looked, kind: str, homes: Mapping[int, int]) -> Page:
    number = address // PAGE
    before, after, tag = (
        looked.before.get(address, ()),
        looked.after.get(address, ()),
        looked.tags.get(address),
    )
    if not after or tag is None:
        if len(set(before)) < 2:
            return Page(number, "not probed", reason="it could not be read")
        # It never read the same twice before anything was written, so nothing was.
        return Page(number, "faulty" if kind == "ram" else "io", shown=before[-1])
    shown = after[-1]
    home = homes.get(address)
    if home is not None:
        if home == address:
            return Page(number, "ram", shown=shown)
        return Page(number, "mirror", of=home // PAGE, shown=shown)
    if set(after) == {tag}:
        return Page(number, "ram", shown=shown)
    if set(after) == {before[-1]}:
        row = {a: v for a, v in looked.rows.items() if a // PAGE == number}
        if not row and needs_row(address, looked):
            return Page(number, "not probed", reason="it was not read far enough to tell ROM from nothing")
        nothing = _empty(row) and _as_idle(row, looked) if row else floats(address, shown)
        erased = nothing and looked.idle is None and shown in (0x00, 0xFF) and shown != number
        return Page(number, "floating" if nothing else "rom", shown=shown, reason=ERASED if erased else "")
    if kind == "ram":
        return Page(number, "faulty", shown=shown)
    if all(floats(address, value) for value in after):
        return Page(number, "floating", shown=shown)
    return Page(number, "io", shown=shown)


def _as_idle(row: Readings, looked: Looked) -> bool:
    """Whether a flat row may be the bus alone: not where empty pages of this board read otherwise."""
    address, value = next((a, readings[-1]) for a, readings in row.items() if readings)
    if looked.idle is None or not floats(address, value):
        return True
    return value == {"high half": address >> 8, "ones": 0xFF, "zeros": 0x00}[looked.idle]


def needs_row(address: int, looked: Looked) -> bool:
    """Whether a whole row must be read to tell ROM from nothing at a written address."""
    if not looked.unchanged(address):
        return False
    value = looked.after[address][-1]
    if not floats(address, value) or not _as_idle({address: (value,)}, looked):
        return True
    return any(_answers(other, looked) for other in _beside(address))


def _beside(address: int) -> tuple[int, ...]:
    """The bytes of neighbouring pages that a survey may have tried."""
    page = address // PAGE
    return tuple(
        other * PAGE + low for other in (page - 1, page + 1) if 0 <= other <= 0xFF for low in (0x00, 0xFF)
    )


def _answers(address: int, looked: Looked) -> bool:
    after = looked.after.get(address, ())
    return bool(after) and not (looked.unchanged(address) and floats(address, after[-1]))
