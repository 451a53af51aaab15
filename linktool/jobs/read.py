"""read: have a range printed and take its bytes. A row that came spoilt is asked for again; where the
link has shown faults, every row must come the same twice. What was read once is what was printed, and no
more: nothing could show a wrong character in it, so it is not claimed as proven."""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.errors import NoAnswer
from linktool.jobs.attempt import attempt
from linktool.jobs.report import Report, ranges_of
from linktool.jobs.verify import BLOCK, READINGS
from linktool.plan import blocks


def read(talk: Conversation, wanted: tuple[Range, ...], port: str = "") -> Talk[Report]:
    """Read the ranges. Never raises for the link: the report holds what came whole."""
    found = _Found()
    ended = yield from attempt(talk, "read", _read(talk, wanted, found))
    image = Image.from_runs(found.runs)
    return Report(
        command="read",
        machine=talk.machine.name,
        port=port,
        image=image,
        proof="none" if found.once or not image else "read back",
        proven=() if found.once else ranges_of(image),
        stopped=ended.stopped,
        lost=ended.lost,
        effort=ended.effort,
    )


@dataclass
class _Found:
    """runs: what came whole. once: how many pieces were read only once."""

    runs: list[tuple[int, bytes]] = field(default_factory=list)
    once: int = 0


def _read(talk: Conversation, wanted: tuple[Range, ...], found: _Found) -> Talk[None]:
    total = sum(len(part) for part in wanted)
    pieces = [piece for part in wanted for piece in blocks_of(part)]
    for number, piece in enumerate(pieces):
        following = pieces[number + 1 : number + 2]
        upcoming = speech.examine_line(talk.dialect, following[0]) if following else ""
        twice = yield from read_piece(talk, piece, upcoming, found.runs)
        found.once += not twice
        done = sum(len(data) for _, data in found.runs)
        yield from talk.note("progress", phase="read", done=done, total=total)


def blocks_of(wanted: Range) -> list[Range]:
    """`wanted` in pieces no longer than one examine line should ask for."""
    return list(blocks(Image.from_bytes(wanted.first, bytes(len(wanted))), BLOCK))


def read_piece(talk: Conversation, piece: Range, upcoming: str, runs: list[tuple[int, bytes]]) -> Talk[bool]:
    """Read one piece into `runs`; whether every byte came the same twice. NoAnswer when one never did."""
    reading = yield from talk.examine(piece, upcoming)
    if talk.error_rate < CALM and not reading.spoilt:
        runs.extend((segment.first, segment.data) for segment in reading.image.segments)
        return False
    last = dict(reading.image.cells())
    settled: dict[int, int] = {}
    for _reading in range(READINGS):
        open_cells = [address for address in range(piece.first, piece.last + 1) if address not in settled]
        if not open_cells:
            break
        again = yield from talk.examine(Range(open_cells[0], open_cells[-1]))
        for address, value in again.image.cells():
            if last.get(address) == value:
                settled.setdefault(address, value)
            last[address] = value
    else:
        missing = [address for address in range(piece.first, piece.last + 1) if address not in settled]
        if missing:
            raise NoAnswer(
                f"{Range(missing[0], missing[0])} could not be read the same twice in {READINGS} readings",
                "The link loses or changes characters, or the cell is unsteady",
            )
    runs.extend((s.first, s.data) for s in Image.from_cells(settled.items()).segments)
    return True
