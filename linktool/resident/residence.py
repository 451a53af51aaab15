"""What a talk knows of the routines it has put into the machine, kept for as long as the port is open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool.conversation import Conversation
from linktool.resident.routines import Routines


@dataclass
class Residence:
    """routines: those in memory, or None. receiver, reader: whether theirs are proven, besides the checker.
    gap_s: the time between two keys that the adapter was found to need; 0: none beyond its own rate,
    None: not measured yet. known: what this talk has entered or checked and found; no routine is put there,
    and it is a first guess, no more, of what memory holds. wary: where earlier talks have entered something;
    routines are put there only where there is no other room. touched: everything that routines of this talk
    have been written to, those forgotten since too."""

    routines: Routines | None = None
    receiver: bool = False
    reader: bool = False
    gap_s: float | None = None
    known: Image = field(default_factory=Image)
    wary: tuple[Range, ...] = ()
    touched: list[Range] = field(default_factory=list)

    def forget(self) -> None:
        """The routines are not to be trusted any more."""
        self.routines, self.receiver, self.reader = None, False, False

    @property
    def held(self) -> tuple[Range, ...]:
        """Where the user's bytes stand."""
        return tuple(segment.range for segment in self.known.segments)

    def hold(self, image: Image, ranges: Iterable[Range]) -> None:
        """The user's bytes stand there now: those of `image` in `ranges`."""
        for each in ranges:
            self.known = self.known.overlay(image.slice(each), "replace")


def residence(talk: Conversation) -> Residence:
    """The residence of a talk, made when first asked for."""
    if talk.residence is None:
        talk.residence = Residence()
    return talk.residence
