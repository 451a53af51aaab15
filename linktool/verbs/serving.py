"""board: serve the simulated target to any program, until it is told to stop."""

from __future__ import annotations

from linktool.bench import Bench
from linktool.commands import Values
from linktool.jobs.listing import Told


def board(bench: Bench, values: Values) -> Told:
    """Placeholder until the board is there."""
    return Told("board")
