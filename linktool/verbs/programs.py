"""programs: list the library, show one, add one's own, try one or all on whatever is connected."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from formats import files
from formats.image import Image
from linktool import library
from linktool.actions import Note
from linktool.bench import Bench
from linktool.commands import Values
from linktool.errors import LINK_FAILED, STOPPED, RefusedError, UsageError
from linktool.jobs.programs import AddedReport, LibraryReport, ProgramReport, UnbuiltReport
from linktool.jobs.try_program import RoundReport, TrialReport, try_program
from linktool.jobs.verify import BLOCK
from linktool.plan import make, read_cost
from linktool.program_build import Built
from linktool.questions import Questions, questions_on

Told = LibraryReport | ProgramReport | UnbuiltReport | AddedReport | TrialReport | RoundReport


@dataclass(frozen=True)
class _Wish:
    """What the command line asks of the library."""

    bench: Bench
    name: str | None
    values: Values

    def program(self) -> library.Program:
        if not self.name:
            raise UsageError("no program is named", "`linktool programs` lists them")
        return library.load(self.name, self.bench.folders.programs)

    def build(self, program: library.Program) -> Built:
        parameters = library.parameters_from(program, self.values["set"] or ())
        return library.build(
            program, self.bench.machine, self.values["at"], parameters, self.values["force"] or ()
        )


def programs(bench: Bench, values: Values) -> Told:
    """By the word after `programs`."""
    wish = _Wish(bench, values["name"], values)
    actions: dict[str, Callable[[_Wish], Told]] = {
        "list": _list, "show": _show, "add": _add, "test": _test
    }  # fmt: skip
    return actions[values["action"] or "list"](wish)


def _list(wish: _Wish) -> LibraryReport:
    folder = wish.bench.folders.programs
    rows, faulty = [], []
    for name, path in library.available(folder).items():
        try:
            program = library.load(name, folder)
        except UsageError as error:
            faulty.append(str(error))
            continue
        rows.append((name, program.question, path.is_relative_to(folder)))
    return LibraryReport(tuple(rows), tuple(faulty))


def _show(wish: _Wish) -> ProgramReport | UnbuiltReport:
    program = wish.program()
    if not wish.bench.knows_machine:
        return UnbuiltReport(program)
    built = wish.build(program)
    plan = make(built.machine, built.image)
    reading = read_cost(built.machine, built.image, BLOCK)
    return ProgramReport(built, plan, reading, library.expected_screen(built))


def _test(wish: _Wish) -> TrialReport | RoundReport:
    bench, folder = wish.bench, wish.bench.folders.programs
    bench.need_port()
    if not wish.values["all"]:
        built = wish.build(wish.program())
        return bench.hold(lambda talk, port: try_program(talk, built, port))
    trials: list[TrialReport] = []
    watch = bench.watch

    def names_only(note: Note, at: float) -> None:
        """Fifteen programs' output would bury the table: while they run, their names are enough."""
        if watch is not None and note.topic != "output":
            watch(note, at)

    bench.watch = names_only
    try:
        for name in library.available(folder):
            if watch is not None and not bench.quiet:
                watch(Note("output", {"text": f"TRYING {name}\r"}), 0.0)
            trials.append(_one_of_all(wish, name))
            if trials[-1].exit_status in (STOPPED, LINK_FAILED):
                break
    finally:
        bench.watch = watch
    return RoundReport(tuple(trials))


def _one_of_all(wish: _Wish, name: str) -> TrialReport:
    bench = wish.bench
    try:
        built = library.build(library.load(name, bench.folders.programs), bench.machine)
    except (RefusedError, UsageError) as error:
        return TrialReport(name, "", bench.machine.name, bench.port_name, refused=str(error))
    return bench.hold(lambda talk, port: try_program(talk, built, port))


def _add(wish: _Wish) -> AddedReport:
    """The file and the name are looked at before anything is asked."""
    source, folder = wish.name, wish.bench.folders.programs
    if not source:
        raise UsageError("no file is named", "Write `linktool programs add FILE`")
    name = wish.values["as_name"] or Path(source).stem.lower().replace("_", "-")
    library.refuse_taken(folder, name, wish.values["overwrite"])
    code = _code(wish, source)
    asker = questions_on(sys.stderr)
    facts = {}
    for question in library.QUESTIONS:
        given = wish.values[question.key]
        facts[question.key] = _answer(asker, question) if given is None else given
    added = library.add(folder, name, code, facts, replace=wish.values["overwrite"])
    return AddedReport(name, str(added))


def _code(wish: _Wish, source: str) -> str | Image:
    """Assembly source is kept as it is; any other format becomes a source of bytes."""
    if source.lower().endswith((".s", ".asm")):
        return files.read_bytes(source).decode("utf-8", "replace")
    return files.load(source, at=wish.values["at"]).image


def _answer(asker: Questions, question: library.Question) -> str:
    """Ask at a terminal; elsewhere take the default, or say which option is missing."""
    if not asker.live:
        if question.default:
            return question.default
        raise UsageError(f"--{question.key} is missing", f"It gives: {question.asks}")
    return asker.ask(question.asks, lambda text: library.checked_answer(question.key, text), question.default)
