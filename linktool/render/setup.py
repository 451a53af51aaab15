"""A first connection, as text and JSON: what was looked at, and the profile that was written."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from formats.image import hex4
from linktool.dialect import printable
from linktool.jobs.setup import Look, Recognition, SetupReport
from linktool.machine import Machine
from linktool.render.data import Data, data, range_data
from linktool.render.text import lines

_VERDICTS = {
    "answers": "answers",
    "bare": "reads as an empty bus would",
    "unsteady": "reads differently each time",
    "unread": "could not be read",
}
_KINDS = {"ram": "RAM", "rom": "ROM", "io": "I/O", "none": "nothing there"}


def stretches(looked: Sequence[Look], machine: Machine) -> list[str]:
    """One line for each run of places with the same verdict in the same kind of area; a mark where the
    memory map says otherwise."""
    result = []
    for (verdict, kind), group in groupby(
        looked, lambda each: (each.verdict, machine.kind_at(each.range.first))
    ):
        places = list(group)
        where = f"{hex4(places[0].range.first)} to {hex4(places[-1].range.first)}"
        mark = "! " if (verdict == "answers") != (kind != "none") else "  "
        result.append(f"{mark}{where}  {_VERDICTS[verdict]}; the profile says {_KINDS[kind]}")
    return result


def unheard_lines(result: Recognition) -> list[str]:
    """What came instead of an answer, and where to look."""
    if not result.heard:
        return [
            "! Nothing came back. Look at power and ground, and whether the data lines are crossed: what",
            "! is output at one end is input at the other. If a program is running, press the reset key.",
        ]
    told = [
        f"! Something came, but in no known dialect: {_shown(answer)}" for _key, answer in result.heard[-3:]
    ]
    return [*told, "! Garbage points to rate or frame; plain text to another dialect, or a program running."]


def _shown(answer: str) -> str:
    return printable(answer[-40:], " (new line) ").strip()


@lines.register
def _(report: SetupReport) -> list[str]:
    name = report.machine.name
    result = [f"Wrote {report.profile}: read it, and mend it by your board's manual."]
    if report.rom:
        result.append(f"Saved the ROM to {report.rom}.")
    given = "" if report.kept else f" --port {report.port} --machine {name}"
    return [*result, f"Next: `linktool enter FILE{given}`."]


@data.register
def _(report: SetupReport) -> Data:
    return {
        "command": "setup",
        "ok": True,
        "machine": report.machine.name,
        "port": report.port,
        "profile": report.profile,
        "rom": report.rom,
        "kept": report.kept,
        "looked": [
            {**range_data(each.range), "verdict": each.verdict, "bytes": each.data.hex().upper()}
            for each in report.looked
        ],
    }
