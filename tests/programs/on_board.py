"""A program started on the simulated board: put into memory, its run line typed, its keys struck."""

from __future__ import annotations

from dataclasses import dataclass

from linktool.board.board import Board
from linktool.program_build import Built


@dataclass(frozen=True)
class Printed:
    """text: what the program printed, and the monitor after it. arrivals_s: when each character came.
    ended: the board waits for a key again."""

    text: str
    arrivals_s: tuple[float, ...]
    ended: bool


def run(board: Board, built: Built) -> Printed:
    """Start `built` on a board that waits for a line, and take down what comes until it is quiet."""
    dialect = board.machine.dialect
    while board.read(board.now() + 1.0):
        pass
    for segment in built.image.segments:
        board.poke(segment.first, segment.data)
    for key in dialect.run.format(address=f"{built.start:04X}"):
        _strike(board, key)
        assert board.read(board.now() + 1.0) == key.encode("ascii")
    _strike(board, dialect.end_key)
    first = f"{built.image.get(built.start):02X}"
    heading = dialect.end_echo + dialect.run_answer.format(address=f"{built.start:04X}", byte=first)
    answers, text, times, asked = list(built.answers), "", [], 0
    deadline = board.now() + built.seconds + 3.0
    while board.now() < deadline:
        data = board.read(board.now() + 0.75)
        text += data.decode("ascii")
        times += [board.now()] * len(data)
        if answers and len(text) >= len(heading) and answers[0].after in text[max(asked, len(heading)) :]:
            asked, deadline = len(text), deadline + 1.0
            _strike(board, answers.pop(0).keys)
        elif not data and board.processor.idle:
            break
    assert text.startswith(heading)
    return Printed(text[len(heading) :], tuple(times[len(heading) :]), board.processor.idle)


def _strike(board: Board, keys: str) -> None:
    mark = 0x80 if board.machine.keys.high_bit else 0
    board.write(bytes(ord(key) | mark for key in keys))
