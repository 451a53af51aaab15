"""The simulated board: a 6502 machine with its adapter, stepped on a virtual clock, behind a port.

It shares no code with dialect, plan, pacing, conversation or jobs, so that a mistake cannot cancel itself.
`open_board(name)` gives one; loading this package does not yet load the processor core.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from linktool.board.board import Board
    from linktool.machine import Machine


def open_board(url: str = "board:", machine: Machine | None = None, folder: Path | None = None) -> Board:
    """The board a name asks for; see linktool.board.url.open_board."""
    from linktool.board import url as names

    return names.open_board(url, machine, folder)
