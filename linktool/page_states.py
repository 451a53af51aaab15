"""What a page answers as, from what was read there before and after a byte was written. Pure.

A page that keeps what is written is RAM. One that shows what was written to another page shares its cells.
One that stays as it was is ROM if it holds different bytes, and nothing at all if it reads as an undriven bus
does: the high half of the address, which was on the bus last, or all ones or zeros (common practice). A place
where some bits keep and others do not, or that changes by itself, is bad RAM where the profile has RAM, and
looks like I/O elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from formats.image import Image
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


@dataclass(frozen=True)
class Looked:
    """What a survey read: before anything was written, after the tags were, and of whole rows at last."""

    before: Readings
    tags: Image
    after: Readings
    rows: Readings


def floats(address: int, value: int) -> bool:
    """Whether a byte is what an address reads where nothing drives the bus."""
    return value in (address >> 8, 0xFF, 0x00)


def page_states(probes: tuple[Probe, ...], looked: Looked, kinds: Mapping[int, str]) -> tuple[Page, ...]:
    """A state for each page of the probes. kinds: what the profile has at an address of each page."""
    homes = _homes(looked, kinds)
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
    return tuple(pages)


def _homes(looked: Looked, kinds: Mapping[int, str]) -> dict[int, int]:
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
        if owner != address and _unchanged(address, looked) and not _unchanged(owner, looked):
            continue
        own = looked.after.get(owner, ())
        if own and own[-1] == tags[owner]:
            sharing.setdefault((address % PAGE, read[-1]), []).append(address)
    homes: dict[int, int] = {}
    for addresses in sharing.values():
        if len(addresses) > 1:
            home = min(addresses, key=lambda a: (kinds[a // PAGE] != "ram", a))
            homes.update((address, home) for address in addresses)
    return homes


def _unchanged(address: int, looked: Looked) -> bool:
    before, after = looked.before.get(address, ()), looked.after.get(address, ())
    return bool(before and after) and set(before) == set(after)


def _only_read(probe: Probe, number: int, looked: Looked, kind: str) -> Page:
    cells = {a: looked.before.get(a, ()) for a in range(probe.range.first, probe.range.last + 1)}
    values = [readings[-1] for readings in cells.values() if readings]
    shown = values[0] if values else None
    if kind == "ram":
        return Page(number, "in use", shown=shown, reason=probe.reason)
    if kind == "io":
        return Page(number, "io", shown=shown, reason=probe.reason)
    if not values:
        return Page(number, "floating")
    if any(len(set(readings)) > 1 for readings in cells.values()):
        return Page(number, "io", shown=shown)
    return Page(number, "floating" if _empty(cells) else "rom", shown=shown)


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
        # It never read the same twice before anything was written, so nothing was.
        shown = before[-1] if before else None
        return Page(number, "faulty" if kind == "ram" else "io", shown=shown)
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
        if floats(address, shown) or (row and _empty(row)):
            return Page(number, "floating", shown=shown)
        return Page(number, "rom", shown=shown)
    if kind == "ram":
        return Page(number, "faulty", shown=shown)
    if all(floats(address, value) for value in after):
        return Page(number, "floating", shown=shown)
    return Page(number, "io", shown=shown)


def needs_row(address: int, looked: Looked) -> bool:
    """Whether a whole row must be read to tell ROM from nothing at a written address."""
    after, before = looked.after.get(address, ()), looked.before.get(address, ())
    tag = looked.tags.get(address)
    return bool(after and before) and set(after) == {before[-1]} != {tag} and not floats(address, after[-1])
