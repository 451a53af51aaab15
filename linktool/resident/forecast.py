"""How long entering and checking take, typed or with the resident routines, before anything is sent. Pure.

Everything is bound by the display, but for what the receiver takes, which is bound by the adapter. Latency
is not known beforehand; a line is given LINE_S for it. The figures are for a link without faults.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.machine import Machine, characters_per_second
from linktool.plan import make, read_cost
from linktool.resident.block_plan import transfer_keys
from linktool.resident.checking import CYCLES_A_BYTE, stretches
from linktool.resident.placement import lacking, places
from linktool.resident.reading_out import GROUP, RUN_BYTES
from linktool.resident.reading_out import SYMBOLS as GROUP_SYMBOLS
from linktool.resident.routines import READER_BYTES, ROW, Routines, assembled, bootstrap, length
from linktool.resident.sums import PIECE, SYMBOLS, pieces, request

BLOCK = 256
LINE_S = 0.03

SHORT = 6
"""Bytes of a stretch up to which reading it back takes no longer than having it summed."""


@dataclass(frozen=True)
class Forecast:
    """Seconds for a job done by hand and with the routines; None where they cannot be used, `reason` says
    why. setup_s: the part of with_routines_s that putting them there takes. routines: where they would go."""

    by_hand_s: float
    with_routines_s: float | None
    setup_s: float = 0.0
    routines: Routines | None = None
    reason: str = ""

    @property
    def faster(self) -> bool:
        """Whether the routines are the faster way."""
        return self.with_routines_s is not None and self.with_routines_s < self.by_hand_s


def entering(
    machine: Machine,
    image: Image,
    ready: Routines | None = None,
    held: Iterable[Range] = (),
    wary: Iterable[Range] = (),
) -> Forecast:
    """Entering and proving `image`. ready: routines that are in the machine, receiver and all. held, wary:
    see Residence."""
    by_hand_s = make(machine, image).cost.seconds + read_cost(machine, image, BLOCK).seconds
    routines, reason = (ready, "") if ready else _routines(machine, image, held, wary, receiver=True)
    if unsuited(machine, image):
        routines, reason = None, unsuited(machine, image)
    if routines is None:
        return Forecast(by_hand_s, None, reason=reason)
    setup_s = _ask_s(machine, routines, 1) if ready else _setup_s(machine, routines, True)
    ranges = tuple(segment.range for segment in image.segments)
    keys = transfer_keys(machine, routines.placement.size, ranges)
    sending_s = keys / characters_per_second(machine.link) + 20 / machine.screen.rate_cps
    return Forecast(by_hand_s, setup_s + sending_s + proving_s(machine, routines, image), setup_s, routines)


def checking(
    machine: Machine,
    image: Image,
    ready: Routines | None = None,
    held: Iterable[Range] = (),
    wary: Iterable[Range] = (),
) -> Forecast:
    """Checking `image`. ready: routines that are in the machine."""
    by_hand_s = read_cost(machine, image, BLOCK).seconds
    routines, reason = (ready, "") if ready else _routines(machine, image, held, wary, receiver=False)
    if routines is None:
        return Forecast(by_hand_s, None, reason=reason)
    setup_s = _ask_s(machine, routines, 1) if ready else _setup_s(machine, routines, False)
    return Forecast(by_hand_s, setup_s + proving_s(machine, routines, image), setup_s, routines)


def reading(
    machine: Machine, wanted: Iterable[Range], ready: Routines | None = None, reader: bool = False
) -> Forecast:
    """Reading `wanted`. ready: routines that are in the machine; reader: theirs too."""
    ranges = tuple(wanted)
    image = _covering(ranges)
    by_hand_s = read_cost(machine, image, BLOCK).seconds
    routines, reason = (ready, "") if ready else _routines(machine, image, (), (), receiver=False)
    if routines is None or not routines.reader:
        return Forecast(by_hand_s, None, reason=reason or NO_ROOM.format(READER_BYTES))
    setup_s = _ask_s(machine, routines, 1) if ready else _setup_s(machine, routines, False)
    if not reader:
        setup_s += _ask_s(machine, routines, 1)
        setup_s += make(machine, routines.reader).cost.seconds if ready else 0.0  # else it is brought along
    runs = sum(math.ceil(len(each) / RUN_BYTES) for each in ranges)
    printed_s = len(image) / GROUP * GROUP_SYMBOLS / machine.screen.rate_cps
    reading_s = printed_s + runs * _ask_s(machine, routines, 0)
    return Forecast(by_hand_s, setup_s + reading_s + proving_s(machine, routines, image), setup_s, routines)


def registers_apart(machine: Machine, wanted: Iterable[Range]) -> tuple[tuple[Range, ...], tuple[Range, ...]]:
    """Ranges in what is memory, or nothing, and what are I/O registers: reading one may change it."""
    every = _covering(wanted)
    memory = every.minus(_covering(area.range for area in machine.areas if area.kind == "io"))
    registers = every.minus(memory)
    return tuple(s.range for s in memory.segments), tuple(s.range for s in registers.segments)


def _covering(ranges: Iterable[Range]) -> Image:
    """An image that holds these addresses; of what does not matter."""
    return Image.from_cells((at, 0) for each in ranges for at in range(each.first, each.last + 1))


def unsuited(machine: Machine, image: Image) -> str:
    """Why an image is not to be sent through the receiver, as a sentence, or "": it is told only what lies
    in RAM that nobody claims. What the user forces elsewhere is typed, where every line is seen."""
    names = dict.fromkeys(area.name for area in machine.hindrances(image))
    return f"the image reaches into {', '.join(names)}" if names else ""


def long_and_short(image: Image) -> tuple[Image, Image]:
    """The image in what is worth summing, and what is as well read back."""
    runs = [(segment.first, segment.data) for segment in image.segments]
    return (
        Image.from_runs(run for run in runs if len(run[1]) > SHORT),
        Image.from_runs(run for run in runs if len(run[1]) <= SHORT),
    )


def proving_s(machine: Machine, routines: Routines, image: Image) -> float:
    """Seconds to sum `image`, its shortest stretches read back."""
    summed, read = long_and_short(image)
    seconds = sum(_ask_s(machine, routines, len(pieces(each.range))) for each in stretches(summed))
    return seconds + (read_cost(machine, read, BLOCK).seconds if read else 0.0)


def _routines(
    machine: Machine, image: Image, held: Iterable[Range], wary: Iterable[Range], receiver: bool
) -> tuple[Routines | None, str]:
    reason = lacking(machine, receiver)
    if reason:
        return None, reason
    taken = [*(segment.range for segment in image.segments), *held]
    found = places(machine, length(True), True, taken, wary)
    if not found and not receiver:
        found = places(machine, length(False), False, taken, wary)
    if not found:
        return None, NO_ROOM.format(length(receiver))
    return assembled(machine, found[0]), ""


NO_ROOM = (
    "there is no room for {} bytes of code and their page-zero cells, clear of the image, "
    "of what the profile reserves and of what was entered before"
)


def _setup_s(machine: Machine, routines: Routines, receiver: bool) -> float:
    """Seconds to put the routines there and prove them."""
    wanted = routines.checker.overlay(routines.receiver) if receiver else routines.checker
    loader = bootstrap(machine, routines.placement)
    if loader is None:
        there_s = make(machine, wanted).cost.seconds
    else:
        keys = 2 * len(wanted) + len(wanted) / ROW
        there_s = make(machine, loader).cost.seconds + 4 * LINE_S
        there_s += keys / characters_per_second(machine.link) + 20 / machine.screen.rate_cps
    asked_s = _ask_s(machine, routines, 1) * (2 if receiver else 1)
    return there_s + read_cost(machine, routines.checker, BLOCK).seconds + asked_s


def _ask_s(machine: Machine, routines: Routines, count: int) -> float:
    """Seconds of one run of the checker over `count` pieces."""
    dialect = machine.dialect
    handed = make(machine, Image.from_bytes(routines.cells, request(Range(0x0F00, 0x0FFF)))).cost.seconds
    run = len(speech.run_line(dialect, routines.check)) + len(speech.run_answer(dialect, routines.check))
    printed = run + SYMBOLS * count + 1 + len(dialect.ready)
    summing_s = PIECE * CYCLES_A_BYTE / machine.clock_hz
    return handed + printed / machine.screen.rate_cps + summing_s * (1 + count / 4) + 2 * LINE_S
