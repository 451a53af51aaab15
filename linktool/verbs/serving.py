"""board: serve the simulated target to any program, until SIGINT or SIGTERM."""

from __future__ import annotations

import sys

from linktool.bench import Bench
from linktool.board.faults import FAULTS
from linktool.board.serve import serve
from linktool.board.url import OPTIONS, open_board
from linktool.commands import Values
from linktool.errors import UsageError
from linktool.jobs.listing import FaultsReport, Told
from linktool.machine import available
from linktool.render.terminal import safe


def board(bench: Bench, values: Values) -> Told | FaultsReport:
    """The first line on standard output is `port: NAME`, also with --json: scripts wait for it."""
    faults = list(values["fault"] or ())
    if "list" in faults:
        return FaultsReport(
            tuple((kind.form, kind.text) for kind in FAULTS),
            tuple((f"{name}={form}", text) for name, (form, text) in OPTIONS.items()),
        )
    options = []
    if values["machine"]:
        own = available(bench.folders.machines).get(values["machine"].lower())
        options.append(f"machine={own or values['machine']}")
    for option in values["option"] or ():
        if "=" not in option or "," in option:
            raise UsageError(f"--option {option} is not NAME=VALUE", f"Options: {', '.join(OPTIONS)}")
        options.append(option)
    name = "board:" + ",".join([*options, *(f"fault={fault}" for fault in faults)])
    open_board(name).close()  # what is wrong with it is said before anything listens
    serve(
        name,
        values["serve"],
        values["memory_out"],
        _announce,
        allow_remote=values["allow_remote"],
        overwrite=values["overwrite"],
    )
    return Told("board")


def _announce(line: str) -> None:
    sys.stdout.write(safe(line) + "\n")
    sys.stdout.flush()
