"""Build a program for the machine in hand: choose its cells and its place, assemble it, or refuse.

A program is refused with a sentence that says why: a symbol the profile lacks, no room, reserved
areas, ROM, I/O or holes in the way, a range it would test while sitting in it. Where no address is
given, the lowest RAM is taken that is neither reserved nor zero page and suits the program.
Nothing is read but the program and the profile; nothing is typed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from formats import assembly
from formats.errors import FormatError
from formats.image import Image, Range, hex4
from formats.reading import Reading, ReadOptions
from linktool.errors import RefusedError, UsageError
from linktool.expression import value_of
from linktool.free_memory import ZERO_PAGE, free_cells, free_ram, io_pages, largest_free, without
from linktool.machine import Machine
from linktool.objections import Stand
from linktool.program import Answer, Program
from linktool.screen_text import Scene, block, raw, sample

_TRIAL = Range(0x0400, 0x0400)
_LACKING = {
    "free_first": "RAM that is free beside it",
    "free_last": "RAM that is free beside it",
    "io_first": "input or output registers",
    "io_last": "input or output registers",
}


@dataclass(frozen=True)
class Built:
    """A program as bytes at addresses for one machine.

    start    where it is started
    values   its parameters and what manifest.GIVEN names, as numbers
    cells    the zero-page bytes it uses, or None
    answers  what to type while it runs: the text to wait for since the last answer, and the keys
    leaves   what memory holds afterwards, as far as its description says so
    seconds  how long it runs on this machine: processor and display, without waiting for keys
    """

    program: Program
    machine: Machine
    image: Image
    start: int
    labels: Mapping[str, int]
    values: Mapping[str, int]
    cells: Range | None
    scene: Scene
    answers: tuple[Answer, ...]
    leaves: Image
    seconds: float
    warnings: tuple[str, ...] = ()


def build(
    program: Program,
    machine: Machine,
    at: int | None = None,
    parameters: Mapping[str, int] | None = None,
    forced: Iterable[str] = (),
) -> Built:
    """`program` for `machine`, at `at` or a place of its own. `forced` names areas allowed all the same.

    RefusedError with the reason where it cannot be; UsageError for parameters that are not the
    program's or out of bounds, and for a source that does not assemble.
    """
    return _Fitting(program, machine, _checked(program, parameters or {}), tuple(forced)).built(at)


def _checked(program: Program, parameters: Mapping[str, int]) -> dict[str, int]:
    for name, value in parameters.items():
        parameter = program.parameter(name)
        if parameter is None:
            known = ", ".join(each.name for each in program.parameters) or "it takes none"
            raise UsageError(f"{program.name} has no parameter {name}; known: {known}")
        if not parameter.least <= value <= parameter.most:
            low, high = (f"{bound:0{parameter.digits}X}" for bound in (parameter.least, parameter.most))
            raise UsageError(f"{program.name}: {name} is {value:X}; allowed: {low} to {high}")
    return dict(parameters)


class _Fitting:
    """One program being fitted to one machine."""

    def __init__(
        self, program: Program, machine: Machine, given: dict[str, int], forced: tuple[str, ...]
    ) -> None:
        self.program, self.machine, self.given, self.forced = program, machine, given, forced
        missing = [name for name in program.needs if name not in machine.symbols]
        if missing:
            raise self.refused(
                f"needs {', '.join(missing)}, which the profile of {machine.name} does not name",
                f"Add it under [symbols] in {machine.source or 'the profile'}",
            )
        self.cells = free_cells(machine, program.zero_page) if program.zero_page else None
        if program.zero_page and not self.cells:
            raise self.refused(
                f"needs {program.zero_page} bytes of zero page in a row, which {machine.name} has not free"
            )

    def refused(self, reason: str, hint: str = "") -> RefusedError:
        return RefusedError(f"{self.program.name} {reason}", hint)

    def built(self, at: int | None) -> Built:
        trial = self.values(_TRIAL, sizing=True)
        self.stand(Image(), trial).check_ranges()
        if self.program.fixed:
            reading = self.assembled(None, trial)
            place = reading.image.extent or _TRIAL
            if at is not None and at != reading.origin:
                raise self.refused(f"is written for {hex4(place.first)} and cannot be at {hex4(at)}")
            values = self.values(place)
        else:
            size = self.size(trial)
            place = self.place(size) if at is None else self.place_at(at, size)
            values = self.values(place)
            reading = self.assembled(place.first, values)
            if reading.image.extent != place:
                raise UsageError(
                    f"{self.program.source_name}: gives {size} bytes in one place and "
                    f"{len(reading.image)} in another, or leaves gaps",
                    "Write it with .org, and say fixed = true under [place]",
                )
        for objection in self.objections(reading.image, values):
            raise objection
        return self.finished(reading, values)

    def finished(self, reading: Reading, values: Mapping[str, int]) -> Built:
        image, program = reading.image, self.program
        digits = {each.name: each.digits for each in program.parameters}
        scene = Scene(self.machine, values, digits, image)
        start = reading.origin if image.start is None else image.start
        return Built(
            program=program,
            machine=self.machine,
            image=image,
            start=values["program_first"] if start is None else start,
            labels=reading.labels,
            values=values,
            cells=self.cells,
            scene=scene,
            answers=tuple(
                Answer(sample(raw(each.after, scene)), raw(each.keys, scene)) for each in program.answers
            ),
            leaves=_left_behind(program, image, values),
            seconds=_seconds(program, scene),
            warnings=reading.warnings,
        )

    def size(self, trial: Mapping[str, int]) -> int:
        size = len(self.assembled(_TRIAL.first, trial).image)
        if self.program.size not in (0, size):
            raise UsageError(
                f"{self.program.source_name}: gives {size} bytes, and the description beside it says size = "
                f"{self.program.size}",
                "Correct the one that is wrong",
            )
        return size

    def assembled(self, at: int | None, values: Mapping[str, int]) -> Reading:
        symbols = {**self.machine.symbols, **values}
        options = ReadOptions(at=at, symbols=symbols, processor=self.machine.processor)
        try:
            return assembly.read(self.program.source, self.program.source_name, options)
        except FormatError as error:
            raise UsageError(str(error)) from error

    def values(self, place: Range, sizing: bool = False) -> dict[str, int]:
        """Parameters and what GIVEN names, for the program at `place`. RefusedError where a parameter
        wants what this machine has not; when only the size counts, 0 stands in."""
        values = {
            "zp": self.cells.first if self.cells else 0,
            "columns": self.machine.screen.columns,
            "rows": self.machine.screen.rows,
            "program_first": place.first,
            "program_last": place.last,
            "before": (place.first - 1) & 0xFF,
        }
        free, pages = largest_free(self.machine, [place]), io_pages(self.machine)
        if free:
            values |= {"free_first": free.first, "free_last": free.last}
        if pages:
            values |= {"io_first": pages[0], "io_last": pages[1]}
        known = {**self.machine.symbols, **values}
        for parameter in self.program.parameters:
            try:
                value = self.given.get(parameter.name)
                known[parameter.name] = value_of(parameter.default, known) if value is None else value
            except KeyError as error:
                if not sizing:
                    lacking = _LACKING.get(error.args[0], error.args[0])
                    raise self.refused(
                        f"finds no {lacking} in the profile of {self.machine.name}",
                        f"Give {parameter.name} yourself",
                    ) from None
                known[parameter.name] = 0
            values[parameter.name] = known[parameter.name]
        return values

    # ---- place -----------------------------------------------------------------------------------

    def place_at(self, at: int, size: int) -> Range:
        if at + size > 0x10000:
            raise self.refused(f"has {size} bytes and does not fit at {hex4(at)}")
        return Range(at, at + size - 1)

    def place(self, size: int) -> Range:
        """The lowest free place that suits; RefusedError with the reason against the first one."""
        room = without(free_ram(self.machine, self.forced), [ZERO_PAGE])
        reasons: list[RefusedError] = []
        for first in (first for run in room for first in _starts(run, size)):
            place = Range(first, first + size - 1)
            against = list(self.objections(Image.from_bytes(first, bytes(size)), self.values(place)))
            if not against:
                return place
            reasons += against
        if reasons:
            raise reasons[0]
        longest = max(map(len, room), default=0)
        raise self.refused(
            f"has {size} bytes and does not fit on {self.machine.name}: "
            f"the longest free stretch of RAM has {longest}"
        )

    def objections(self, image: Image, values: Mapping[str, int]) -> Iterator[RefusedError]:
        return self.stand(image, values).objections()

    def stand(self, image: Image, values: Mapping[str, int]) -> Stand:
        return Stand(self.program, self.machine, image, self.cells, values, self.forced)


def _starts(run: Range, size: int) -> Iterator[int]:
    """Where in a free stretch a program may begin: at its start and at every page."""
    for first in (run.first, *range((run.first | 0xFF) + 1, run.last + 1, 0x100)):
        if first + size - 1 <= run.last:
            yield first


def _left_behind(program: Program, image: Image, values: Mapping[str, int]) -> Image:
    cells: dict[int, int] = {}
    for left in program.leaves:
        first, last = value_of(left.first, values), value_of(left.last, values)
        for offset in range(last - first + 1):
            if left.value:
                value: int | None = value_of(left.value, values) & 0xFF
            else:
                value = image.get(value_of(left.copy_of, values) + offset)
            if value is not None:
                cells[first + offset] = value
    return Image.from_cells(cells.items())


def _seconds(program: Program, scene: Scene) -> float:
    values = scene.values
    cycles = program.cost.get("fixed", 0)
    if "bytes" in program.cost:
        cycles += program.cost["bytes"] * (values["last"] - values["first"] + 1)
    cycles += sum(cost * values[name] for name, cost in program.cost.items() if name in values)
    if program.beat:
        cycles += program.beat.cycles * program.beat.times
    good = program.good_outcome()
    printed = 1 + len(block(good.prints, value_of(good.times, values), scene))
    return cycles / scene.machine.clock_hz + printed / scene.machine.screen.rate_cps
