"""Lines with colours in them: text like any other, and where each colour begins and ends.

A line that is not painted shows the same marks. The colours are the terminal's own sixteen.
"""

from __future__ import annotations

from dataclasses import dataclass

CODES = {"red": "31", "green": "32", "yellow": "33", "blue": "34", "magenta": "35", "cyan": "36"}
PLAIN = "\x1b[0m"


@dataclass(frozen=True)
class Stroke:
    """Characters first to last of a line, in a colour."""

    first: int
    last: int
    colour: str


class Painted(str):
    """A line that knows its colours; nothing else about it is new."""

    __slots__ = ("strokes",)
    strokes: tuple[Stroke, ...]

    def __new__(cls, text: str, strokes: tuple[Stroke, ...] = ()) -> Painted:
        line = super().__new__(cls, text)
        line.strokes = strokes
        return line

    def in_colour(self) -> str:
        """The line with control sequences for a terminal."""
        parts, at = [], 0
        for stroke in self.strokes:
            parts.append(self[at : stroke.first])
            code = CODES.get(stroke.colour)
            run = self[stroke.first : stroke.last + 1]
            parts.append(f"\x1b[{code}m{run}{PLAIN}" if code else run)
            at = stroke.last + 1
        return "".join((*parts, self[at:]))


def strokes_of(colours: list[str]) -> tuple[Stroke, ...]:
    """Strokes for a line from the colour of each of its characters, "" for none."""
    strokes: list[Stroke] = []
    for at, colour in enumerate(colours):
        if strokes and strokes[-1].last == at - 1 and strokes[-1].colour == colour:
            strokes[-1] = Stroke(strokes[-1].first, at, colour)
        else:
            strokes.append(Stroke(at, at, colour))
    return tuple(stroke for stroke in strokes if stroke.colour)
