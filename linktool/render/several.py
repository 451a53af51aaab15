"""Several boards as text, a line each in a table, and as JSON. What is wrong with one stands above it."""

from __future__ import annotations

from linktool.errors import BAD_INPUT, DIFFERENT, DONE, LINK_FAILED, STOPPED
from linktool.jobs.report import Report
from linktool.jobs.several import BoardResult, SeveralReport
from linktool.jobs.survey import SurveyReport
from linktool.jobs.try_program import RoundReport, TrialReport
from linktool.render import load_for
from linktool.render.data import Data, data
from linktool.render.text import count, duration, lines

WORDS = {
    DONE: "done",
    DIFFERENT: "differences",
    BAD_INPUT: "refused",
    LINK_FAILED: "link failed",
    STOPPED: "stopped",
}
"""Exit status -> what the table calls it."""


@lines.register
def _(report: SeveralReport) -> list[str]:
    result: list[str] = []
    for board in report.boards:
        if board.exit_status != DONE:
            result += [f"{board.label}:", *_indented(board), ""]
    result += table(report.boards)
    return [*result, _sum(report)]


def _indented(board: BoardResult) -> list[str]:
    if board.error:
        return [f"! {board.error}"]
    load_for(board.report)
    return ["  " + line if not line.startswith("! ") else line for line in lines(board.report)]


def table(boards: tuple[BoardResult, ...]) -> list[str]:
    """A line a board: label, port where that is another, machine, how it ended, time, and what came of it."""
    rows = [("board", "port", "machine", "ended", "time", "")]
    rows += [
        (
            board.label,
            board.port if board.port != board.label else "",
            board.machine,
            WORDS.get(board.exit_status, str(board.exit_status)),
            _time(board),
            short(board),
        )
        for board in boards
    ]
    if not any(row[1] for row in rows[1:]):
        rows = [(row[0], "", *row[2:]) for row in rows]
    widths = [max(len(row[column]) for row in rows) for column in range(6)]
    shown = []
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True) if width]
        shown.append("  ".join(cells).rstrip())
    return shown


def short(board: BoardResult) -> str:
    """A few words on how it ended."""
    report = board.report
    if isinstance(report, Report) and report.command != "read":
        size, proven = len(report.image), sum(len(where) for where in report.proven)
        if report.differences:
            return f"{count(len(report.differences), 'byte')} of {size:,} wrong"
        if report.exit_status in (LINK_FAILED, STOPPED):
            return f"{proven:,} of {count(size, 'byte')} proven"
        return f"{count(size, 'byte')} {'proven' if report.proof != 'none' else 'sent, not verified'}"
    if isinstance(report, TrialReport) and report.verdict:
        return report.verdict.sentence
    if isinstance(report, RoundReport):
        tried = [trial for trial in report.trials if not trial.refused]
        bad = ", ".join(trial.name for trial in tried if not trial.ok)
        return f"{count(len(tried), 'program')} tried" + (f"; not as it should be: {bad}" if bad else "")
    if isinstance(report, SurveyReport):
        if report.ok:
            return f"{count(len(report.pages), 'page')} as the profile says"
        return ", ".join(f"{each.label} {each.range}" for each in report.stretches if each.verdict == "wrong")
    return ""


def _time(board: BoardResult) -> str:
    effort = getattr(board.report, "effort", None)
    return "" if effort is None else duration(effort.seconds)


def _sum(report: SeveralReport) -> str:
    ends = [WORDS.get(board.exit_status, str(board.exit_status)) for board in report.boards]
    said = {WORDS[DIFFERENT]: f"with {WORDS[DIFFERENT]}"}
    parts = [f"{ends.count(word)} {said.get(word, word)}" for word in WORDS.values() if word in ends]
    return f"{count(len(report.boards), 'board')}: {', '.join(parts)}."


@data.register
def _(report: SeveralReport) -> Data:
    boards = []
    for board in report.boards:
        row: Data = {
            "label": board.label,
            "port": board.port,
            "machine": board.machine,
            "exit_status": board.exit_status,
        }
        if board.error:
            row["error"] = board.error
        else:
            load_for(board.report)
            row["report"] = data(board.report)
        boards.append(row)
    facts = {"command": report.command, "ok": report.ok, "exit_status": report.exit_status}
    return {**facts, "boards": boards}
