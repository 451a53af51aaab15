"""survey --deep: the library's page program for all pages, and its march over RAM, which is lost by that.

The programs stand where memory works: a bank in which one could not be entered is avoided from then on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from formats.image import Image, Range
from linktool import library
from linktool.bench import Bench
from linktool.errors import RefusedError
from linktool.evidence import Evidence, Sample, banks_of
from linktool.free_memory import ZERO_PAGE, free_ram, without
from linktool.jobs.report import Finding
from linktool.jobs.survey import March, MarchLine
from linktool.jobs.try_program import TrialReport, try_program
from linktool.machine import Machine
from linktool.page_states import Page, State
from linktool.program import Program
from linktool.program_build import Built

LIMIT = 0x20
"""Faults a march prints before it gives up: about seven seconds of printing."""
LEAST = 16
"""Stretches shorter than that are not marched over."""
_LETTERS: dict[str, State] = {"W": "ram", "P": "faulty", "R": "rom", ".": "floating", "I": "skipped"}


class Failed(Exception):
    """A program could not be tried to its end; `trial` says why."""

    def __init__(self, trial: TrialReport) -> None:
        super().__init__(trial.lost)
        self.trial = trial


class Banks:
    """Banks of RAM that no program may stand in, because they hold what is bad. stood: where programs were
    entered, and the cells they used: what was there is lost. differences: bytes that kept one from it."""

    def __init__(self, machine: Machine, bad: Sequence[Range] = ()) -> None:
        self.stood: set[Range] = set()
        self.differences: list[Finding] = []
        self._machine = machine
        self._ram = [bank.range for bank in banks_of(machine) if bank.kind == "ram"]
        self._bad = [bank for bank in self._ram if any(bank.overlap(each) for each in bad)]

    def suit(self, image: Image) -> bool:
        return not any(bank.overlap(part.range) for bank in self._bad for part in image.segments)

    def avoid(self, address: int) -> bool:
        """Avoid the bank of `address`; False where that was avoided already, or there is none."""
        found = [bank for bank in self._ram if address in bank and bank not in self._bad]
        self._bad += found
        return bool(found)

    def places(self) -> Iterator[int | None]:
        """Where a program may be put: where it would stand by itself, and in each bank."""
        yield None
        free = without(free_ram(self._machine), [ZERO_PAGE])
        for bank in self._ram:
            first = next((each for stretch in free if (each := stretch.overlap(bank))), None)
            if first and bank not in self._bad:
                yield first.first


def pages(bench: Bench, banks: Banks) -> tuple[Page, ...]:
    """What the page program says of all 256 pages; none where it prints something else. Failed when it
    cannot be run; RefusedError when it does not suit the machine."""
    trial = _tried(bench, "survey", {}, banks)
    letters = [letter for line in trial.output.replace("\r", "\n").split("\n") for letter in _row(line)]
    if len(letters) != 0x100:
        return ()
    return tuple(Page(number, _LETTERS[letter]) for number, letter in enumerate(letters))


def _row(line: str) -> str:
    """The sixteen letters of a row that begins with a digit and a blank; "" for another line."""
    row = line.strip()[2:]
    return row if len(row) == 16 and set(row) <= set(_LETTERS) and line.strip()[1] == " " else ""


def stretches(bench: Bench, wanted: Sequence[Range]) -> list[Range]:
    """RAM in `wanted` that a march may write to, bank by bank."""
    free = without(free_ram(bench.machine), [ZERO_PAGE])
    banks = [bank.range for bank in banks_of(bench.machine) if bank.kind == "ram"]
    found = []
    for bank in banks:
        for stretch in free:
            for asked in wanted:
                common = stretch.overlap(bank)
                common = common.overlap(asked) if common else None
                if common and len(common) >= LEAST:
                    found.append(common)
    return sorted(set(found))


def march(bench: Bench, where: Range, banks: Banks) -> list[March]:
    """March over one stretch; in two halves where the program finds no place beside it. Failed when it
    cannot be run; RefusedError when it does not suit the machine, or no bank works that it could stand in."""
    middle = where.first + len(where) // 2
    try:
        return [_march(bench, where, banks)]
    except RefusedError:
        if len(where) < 2:
            raise
        return [
            _march(bench, half, banks) for half in (Range(where.first, middle - 1), Range(middle, where.last))
        ]


def _march(bench: Bench, where: Range, banks: Banks) -> March:
    trial = _tried(bench, "march", {"first": where.first, "last": where.last, "limit": LIMIT}, banks)
    verdict = trial.verdict
    assert verdict is not None
    lines = tuple(
        MarchLine(found["address"], found["expected"], found["found"]) for found in verdict.findings
    )
    return March(where, verdict.ok, lines, len(lines) >= LIMIT, "" if verdict.ok else verdict.sentence)


def _tried(bench: Bench, name: str, parameters: Mapping[str, int], banks: Banks) -> TrialReport:
    """Enter, prove and run a program; what it prints is not shown as it comes. Where it cannot be proven
    because memory differs, it is put into another bank."""
    program = library.load(name, bench.folders.programs)
    watch, bench.watch = bench.watch, None
    try:
        while True:
            built = _built(bench, program, parameters, banks)
            banks.stood.update(part.range for part in built.image.segments)
            banks.stood.update((built.cells,) if built.cells else ())
            trial = bench.hold(lambda talk, port, it=built: try_program(talk, it, port))  # type: ignore[misc]
            if trial.verdict is not None:
                return trial
            entered = trial.entered
            wrong = entered.differences if entered and not entered.lost and not entered.stopped else ()
            banks.differences += wrong
            if not wrong or not banks.avoid(wrong[0].address):
                raise Failed(trial)
    finally:
        bench.watch = watch


def _built(bench: Bench, program: Program, parameters: Mapping[str, int], banks: Banks) -> Built:
    """The program for the first place that suits."""
    refused: RefusedError | None = None
    for at in banks.places():
        try:
            built = library.build(program, bench.machine, at, parameters)
        except RefusedError as error:
            refused = refused or error
            continue
        if banks.suit(built.image):
            return built
    raise refused or RefusedError(f"{program.name} finds no bank of RAM in order to stand in")


def evidence_of(marches: Sequence[March]) -> Evidence:
    """What the marches found. Every byte they did not name held zeros and ones; where one gave up early,
    nothing is said of the bytes it did not name."""
    zeros: list[Sample] = []
    ones: list[Sample] = []
    named: list[Sample] = []
    for each in marches:
        bad = {line.address for line in each.lines}
        named += [Sample(line.address, line.expected, (line.found,)) for line in each.lines]
        if not each.cut_short and (each.ok or each.lines):
            good = [a for a in range(each.range.first, each.range.last + 1) if a not in bad]
            zeros += [Sample(address, 0x00, (0x00,)) for address in good]
            ones += [Sample(address, 0xFF, (0xFF,)) for address in good]
    whole = not any(each.cut_short for each in marches)
    return Evidence("march", (tuple(zeros), tuple(ones), tuple(named)), whole=whole)
