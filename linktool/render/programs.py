"""The program library and its trials, as text and JSON."""

from __future__ import annotations

import textwrap

from formats.image import hex4
from linktool.dialect import printable
from linktool.jobs.programs import AddedReport, LibraryReport, ProgramReport, UnbuiltReport
from linktool.jobs.try_program import RoundReport, TrialReport
from linktool.program import Program
from linktool.render.data import Data, cost_data, data, segments_data
from linktool.render.text import count, duration, hex_rows, how_lost, lines


@lines.register
def _(report: LibraryReport) -> list[str]:
    width = max((len(name) for name, _, _ in report.programs), default=0)
    return [
        *(
            f"{name:<{width}}  {question}{' (yours)' if own else ''}"
            for name, question, own in report.programs
        ),
        *(f"! {sentence}" for sentence in report.faulty),
        "`linktool programs show NAME` tells more; `linktool programs test NAME` tries one.",
    ]


_TAKES = "It takes (with --set NAME=VALUE, hexadecimal):"
_WIDTH = 78


def _told(program: Program) -> list[str]:
    """What a program is for, and the cautions."""
    shown = [f"{program.name}: {program.title}", program.question]
    for paragraph in program.text.strip().split("\n\n") if program.text.strip() else ():
        shown += ["", *textwrap.wrap(paragraph, _WIDTH, break_on_hyphens=False)]
    if program.cautions:
        shown += ["", *(f"Caution: {caution}" for caution in program.cautions)]
    return shown


@lines.register
def _(report: UnbuiltReport) -> list[str]:
    program = report.program
    shown = _told(program)
    if program.parameters:
        shown += ["", _TAKES, *(f"  {each.name}  {each.title}" for each in program.parameters)]
    shown += ["", *program.source.rstrip().split("\n"), ""]
    return [*shown, "With --machine NAME it shows the bytes, the keys and the time for that machine as well."]


@data.register
def _(report: UnbuiltReport) -> Data:
    program = report.program
    return {
        "command": report.command,
        "ok": True,
        "name": program.name,
        "question": program.question,
        "machine": None,
        "source": program.source,
    }


@lines.register
def _(report: ProgramReport) -> list[str]:
    built, program, cost = report.built, report.built.program, report.plan.cost
    shown = _told(program)
    shown += [f"note: {warning}" for warning in built.warnings]
    if program.parameters:
        shown += ["", _TAKES]
        shown += [
            f"  {each.name} = {built.values[each.name]:0{each.digits}X}  {each.title}"
            for each in program.parameters
        ]
    shown += ["", *program.source.rstrip().split("\n"), ""]
    size = count(len(built.image), "byte")
    shown.append(f"On machine {built.machine.name}, {size}; start {hex4(built.start)}:")
    shown += hex_rows(built.image)
    shown += ["", "The screen shows, when all is well (a dot is a character that cannot be known):"]
    shown += [f"  {row}" for row in report.screen]
    typing = f"{count(cost.keystrokes, 'key')}, {duration(cost.seconds)} to type"
    running = f"{duration(report.reading.seconds)} to read back, {duration(built.seconds)} to run"
    return [*shown, "", f"{typing}, {running}, at best."]


@lines.register
def _(report: AddedReport) -> list[str]:
    return [f"Added {report.name} in {report.folder}. `linktool programs show {report.name}` shows it."]


def _outcome(trial: TrialReport) -> str:
    if trial.refused:
        return f"not for this machine: {trial.refused}"
    if trial.lost:
        return how_lost(trial.lost, within=True)
    if trial.stopped:
        return "stopped"
    if trial.verdict is None:
        assert trial.entered is not None
        why = trial.entered.lost or f"{len(trial.entered.differences)} bytes differ"
        return f"could not be entered: {why}"
    wrong = f"; {count(trial.left_wrong, 'byte')} of what it should leave differ" if trial.left_wrong else ""
    return trial.verdict.sentence + wrong + "".join(f"; {remark}" for remark in trial.remarks)


def _mark(trial: TrialReport) -> str:
    return "-" if trial.refused else "ok" if trial.ok else "NO"


@lines.register
def _(report: TrialReport) -> list[str]:
    shown = [] if report.entered is None or report.entered.ok else lines(report.entered)
    return [*shown, f"{'' if report.ok else '! '}{report.name}: {_mark(report)}, {_outcome(report)}."]


@lines.register
def _(report: RoundReport) -> list[str]:
    width = max((len(trial.name) for trial in report.trials), default=0)
    rows = [f"{trial.name:<{width}}  {_mark(trial)}  {_outcome(trial)}" for trial in report.trials]
    good = sum(trial.ok for trial in report.trials)
    tried = sum(not trial.refused for trial in report.trials)
    return [*rows, f"{good} of {tried} programs printed what a machine in order prints."]


@data.register
def _(report: LibraryReport) -> Data:
    rows = [{"name": name, "question": question, "own": own} for name, question, own in report.programs]
    ok, faulty = not report.faulty, list(report.faulty)
    return {"command": report.command, "ok": ok, "programs": rows, "faulty": faulty}


@data.register
def _(report: ProgramReport) -> Data:
    built = report.built
    return {
        "command": report.command,
        "ok": True,
        "name": built.program.name,
        "question": built.program.question,
        "machine": built.machine.name,
        "segments": segments_data(built.image),
        "bytes": len(built.image),
        "data": [{"first": hex4(s.first), "bytes": s.data.hex().upper()} for s in built.image.segments],
        "start": hex4(built.start),
        "screen": list(report.screen),
        **cost_data(report.plan.cost),
        "warnings": list(built.warnings),
    }


@data.register
def _(report: AddedReport) -> Data:
    return {"command": report.command, "ok": True, "name": report.name, "folder": report.folder}


@data.register
def _(report: TrialReport) -> Data:
    verdict = report.verdict
    return {
        "command": report.command,
        "ok": report.ok,
        "name": report.name,
        "machine": report.machine,
        "port": report.port,
        "output": printable(report.output),
        "verdict": verdict.sentence if verdict else None,
        "findings": [dict(finding) for finding in verdict.findings] if verdict else [],
        "measured": list(report.remarks),
        "refused": report.refused,
        "stopped": report.stopped,
        "lost": report.lost,
        "entered": data(report.entered) if report.entered else None,
    }


@data.register
def _(report: RoundReport) -> Data:
    trials = [data(trial) for trial in report.trials]
    return {"command": report.command, "ok": report.exit_status == 0, "programs": trials}
