"""What one target is: frozen values, as its profile states them. See `profile` for how they are read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from formats.image import Image, Range

Kind = Literal["ram", "rom", "io", "none"]
KINDS: tuple[Kind, ...] = ("ram", "rom", "io", "none")


@dataclass(frozen=True)
class Area:
    """One stretch of the memory map; addresses no area names are of kind "none"."""

    range: Range
    kind: Kind
    label: str


@dataclass(frozen=True)
class Reserved:
    """Addresses that must not be written while the monitor is to live; `name` is what --force takes."""

    name: str
    range: Range
    reason: str


@dataclass(frozen=True)
class Chip:
    """A chip's place on the board's grid, and which data bits of which addresses it serves."""

    position: str
    range: Range
    bits: tuple[int, ...]
    part: str = ""


@dataclass(frozen=True)
class Screen:
    columns: int = 40
    rows: int = 24
    rate_cps: float = 60.0


@dataclass(frozen=True)
class Keys:
    """fold: lower case is typed as upper case. high_bit: the adapter wants bit 7 set on every key.
    extra: names of special keys and the code each sends."""

    fold: bool = True
    high_bit: bool = False
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Dialect:
    r"""How a monitor wants lines typed, and exactly what it prints in answer.

    Templates hold {address}, {first}, {last} (hex), {bytes} (hex bytes, `separator` between them) and
    {byte} (the one byte that was there). "\r" stands for a new line. An answer is all that is printed
    after the end key, its echo `end_echo` first and `ready` last.
    """

    deposit: str
    examine: str
    run: str
    ready: str = ""
    deposit_more: str = ""
    deposit_readable: str = ""
    deposit_answer: str = ""
    more_answer: str = ""
    row: str = "{address}: {bytes}\r"
    row_bytes: int = 8
    run_answer: str = ""
    end_key: str = "\r"
    end_echo: str = "\r"
    cancel_key: str = ""
    cancel_answer: str = ""
    rubout_key: str = ""
    error_answer: str = ""
    separator: str = " "
    line_limit: int = 72
    address_digits_min: int = 4
    byte_digits_min: int = 2
    digits_max: int = 2
    empty_line_harmless: bool = False


@dataclass(frozen=True)
class Link:
    """The adapter. rate is in baud; delays and settle in seconds. window 0 means: calibrate.
    dtr, rts: None leaves the line as the system sets it, else the state asked for at opening."""

    rate: int = 2400
    frame: str = "8N1"
    flow: str = "none"
    pacing: str = "window"
    window: int = 0
    latch: int = 1
    echo: bool = True
    key_delay_s: float = 0.0
    line_delay_s: float = 0.0
    newline: str = "cr"
    dtr: bool | None = None
    rts: bool | None = None
    settle_s: float = 0.0


@dataclass(frozen=True)
class Machine:
    name: str
    title: str
    processor: str
    clock_hz: float
    areas: tuple[Area, ...]
    reserved: tuple[Reserved, ...]
    symbols: dict[str, int]
    chips: tuple[Chip, ...]
    screen: Screen
    keys: Keys
    dialect: Dialect
    link: Link
    note: str = ""
    source: str = ""

    def kind_at(self, address: int) -> Kind:
        """What the memory map says of `address`; "none" where no area names it."""
        for area in self.areas:
            if address in area.range:
                return area.kind
        return "none"

    def map(self) -> tuple[Area, ...]:
        """The whole of 0000-FFFF in order, holes filled in as areas of kind "none"."""
        result: list[Area] = []
        at = 0
        for area in self.areas:
            if area.range.first > at:
                result.append(Area(Range(at, area.range.first - 1), "none", "nothing fitted"))
            result.append(area)
            at = area.range.last + 1
        if at <= 0xFFFF:
            result.append(Area(Range(at, 0xFFFF), "none", "nothing fitted"))
        return tuple(result)

    def hindrances(self, image: Image, forced: Iterable[str] = ()) -> tuple[Reserved, ...]:
        """The areas `image` must not be written to: reserved ones, and all that is not RAM,
        narrowed to what is touched. `forced` names areas that are allowed all the same."""
        allowed = {name.lower() for name in forced}
        touched = []
        for reserved in (*self.reserved, *self._not_ram()):
            if reserved.name.lower() in allowed:
                continue
            for segment in image.segments:
                common = segment.range.overlap(reserved.range)
                if common:
                    touched.append(Reserved(reserved.name, common, reserved.reason))
        return tuple(touched)

    def _not_ram(self) -> tuple[Reserved, ...]:
        kinds = {"rom": "ROM", "io": "I/O registers", "none": "a hole in the memory map"}
        return tuple(
            Reserved(area.kind, area.range, f"{kinds[area.kind]}: {area.label}")
            for area in self.map()
            if area.kind != "ram"
        )

    def area_names(self) -> tuple[str, ...]:
        """What `--force` takes on this machine."""
        return tuple(dict.fromkeys([*(r.name for r in self.reserved), "rom", "io", "none"]))


def with_link(machine: Machine, **changes: Any) -> Machine:
    """The same machine with other link settings, as the command line asks for."""
    return replace(machine, link=replace(machine.link, **changes))


def frame_bits(frame: str) -> int:
    """Bits on the wire a character: start, data, parity, stop. "8N1" -> 10 (CACM 8(9), 1965, 553-556)."""
    return 1 + int(frame[0]) + (frame[1] != "N") + int(frame[2])


def characters_per_second(link: Link) -> float:
    """What the link's rate and frame can carry."""
    return link.rate / frame_bits(link.frame)
