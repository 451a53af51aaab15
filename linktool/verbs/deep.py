"""survey --deep: the library's page program for all pages, and its march over RAM, which is lost by that."""

from __future__ import annotations

from collections.abc import Sequence

from formats.image import Range
from linktool import library
from linktool.bench import Bench
from linktool.errors import RefusedError
from linktool.evidence import Evidence, Sample, banks_of
from linktool.free_memory import ZERO_PAGE, free_ram, without
from linktool.jobs.survey import March, MarchLine
from linktool.jobs.try_program import TrialReport, try_program
from linktool.page_states import Page, State
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


def pages(bench: Bench) -> tuple[Page, ...]:
    """What the page program says of all 256 pages; none where it prints something else. Failed when it
    cannot be run; RefusedError when it does not suit the machine."""
    built = library.build(library.load("survey", bench.folders.programs), bench.machine)
    trial = _tried(bench, built)
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


def march(bench: Bench, where: Range) -> list[March]:
    """March over one stretch; in two halves where the program finds no place beside it. Failed when it
    cannot be run; RefusedError when it does not suit the machine."""
    program = library.load("march", bench.folders.programs)
    middle = where.first + len(where) // 2
    halves = [Range(where.first, middle - 1), Range(middle, where.last)] if len(where) > 1 else []
    try:
        parts = [(where, _built(bench, program, where))]
    except RefusedError:
        if not halves:
            raise
        parts = [(half, _built(bench, program, half)) for half in halves]
    return [_march(bench, part, built) for part, built in parts]


def _built(bench: Bench, program: library.Program, where: Range) -> Built:
    wanted = {"first": where.first, "last": where.last, "limit": LIMIT}
    return library.build(program, bench.machine, parameters=wanted)


def _march(bench: Bench, where: Range, built: Built) -> March:
    trial = _tried(bench, built)
    verdict = trial.verdict
    assert verdict is not None
    lines = tuple(
        MarchLine(found["address"], found["expected"], found["found"]) for found in verdict.findings
    )
    return March(where, verdict.ok, lines, len(lines) >= LIMIT, "" if verdict.ok else verdict.sentence)


def _tried(bench: Bench, built: Built) -> TrialReport:
    """Enter, prove and run a program; what it prints is not shown as it comes."""
    watch, bench.watch = bench.watch, None
    try:
        trial = bench.hold(lambda talk, port: try_program(talk, built, port))
    finally:
        bench.watch = watch
    if trial.verdict is None:
        raise Failed(trial)
    return trial


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
