"""A board with the routines in place, and a wire that hands keys straight to its keyboard register."""

from __future__ import annotations

from linktool.board import open_board
from linktool.board.board import Board
from linktool.machine import Machine, load
from linktool.resident import placement, routines
from linktool.resident.routines import Routines

MACHINES = {name: load(name) for name in ("heron", "dot")}


def built(name: str = "heron", size: int | None = None) -> tuple[Machine, Routines]:
    """The machine, and its routines for an empty image; with a buffer of `size`."""
    machine = MACHINES[name]
    place = placement.places(machine, routines.length(True), True, [])[0]
    if size is not None:
        place = placement.Placement(place.code, place.cells, size, place.window)
    return machine, routines.assembled(machine, place)


def board_with(found: Routines, name: str = "heron") -> Board:
    """A board whose memory holds the routines."""
    board = open_board(f"board:machine={name}")
    for image in (found.checker, found.receiver):
        for segment in image.segments:
            board.poke(segment.first, segment.data)
    return board


class Receiver:
    """The receiver running on a board. Keys are `spacing` cycles apart."""

    def __init__(self, name: str = "heron", size: int | None = None, spacing: int = 1042) -> None:
        self.machine, self.routines = built(name, size)
        self.board = board_with(self.routines, name)
        self.board.read(0.5)
        self.spacing = spacing
        core = self.board.processor.core
        core.pc, core.sp = self.routines.receive, 0xFD
        self.board.bus.changes += 1
        self.strike(self.routines.mark)

    @property
    def mark(self) -> str:
        return self.routines.mark

    def strike(self, keys: str) -> str:
        """Hand over keys; what the board has printed when the last one is dealt with."""
        at = self.board.processor.cycles
        for number, key in enumerate(keys):
            self.board.keyboard.arrivals.append((at + number * self.spacing, ord(key)))
        board = self.board
        end_s = (at + len(keys) * self.spacing + 5000) / board.clock_hz
        came = b""
        while board.now() < end_s:
            came += board.read(end_s)
        while more := board.read(board.now() + 0.05):
            came += more
        return came.decode("ascii")

    def memory(self) -> bytes:
        return bytes(self.board.bus.cells)
