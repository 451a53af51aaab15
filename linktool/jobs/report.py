"""What a job hands back: frozen facts, no text. `render` makes words of them.

proof says how far a claim goes: "read back" (every byte came back from the machine), "checksum" (a
checksum the machine computed agrees), or "none".
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from formats.image import Image, Range
from linktool.conversation import Conversation
from linktool.errors import DIFFERENT, DONE, LINK_FAILED, STOPPED

Proof = Literal["read back", "checksum", "none"]
Kind = Literal["memory", "unsteady", "unread"]


@dataclass(frozen=True)
class Finding:
    """One address that does not hold what it should. kind: "memory" (the same wrong byte each time it
    was read), "unsteady" (different bytes at different readings), "unread" (no reading came whole)."""

    address: int
    expected: int
    found: int | None
    kind: Kind


@dataclass(frozen=True)
class Effort:
    """What a job took. wrong: echoes and answers that came wrong and were dealt with.
    preparation: the part of it that went into finding the monitor and measuring the link."""

    keystrokes: int = 0
    printed: int = 0
    lines: int = 0
    lines_retyped: int = 0
    lines_repaired: int = 0
    wrong: int = 0
    seconds: float = 0.0
    window: int = 0
    period_s: float = 0.0
    round_trip_s: float = 0.0
    preparation_s: float = 0.0
    preparation_printed: int = 0


@dataclass(frozen=True)
class RunReport:
    """A program was started, and what it printed while it was watched."""

    machine: str
    port: str
    address: int
    output: str
    back_at_prompt: bool
    stopped: bool = False
    lost: str = ""
    effort: Effort = field(default_factory=Effort)
    one_way: bool = False
    command: str = "run"

    @property
    def ok(self) -> bool:
        return not (self.stopped or self.lost)

    @property
    def exit_status(self) -> int:
        return LINK_FAILED if self.lost else STOPPED if self.stopped else DONE


@dataclass(frozen=True)
class Report:
    """The end of enter, check or read.

    image     what was to be entered or checked, or what was read
    proven    addresses whose contents are proven, by `proof`
    typed     addresses typed in with their echo seen; memory was not read back
    stopped   the user stopped it
    lost      why the link failed, or ""
    noise     differences that did not repeat when read again: the link, not memory
    via       how the bytes went in or were compared
    saved     the file a reading was saved to
    ran       the program started after it, if any
    screen    over a one-way link: the rows the machine's screen should show
    one_way   the link only sends keys: nothing that was typed was seen to arrive
    """

    command: str
    machine: str
    port: str
    image: Image
    proof: Proof
    differences: tuple[Finding, ...] = ()
    proven: tuple[Range, ...] = ()
    typed: tuple[Range, ...] = ()
    stopped: bool = False
    lost: str = ""
    noise: int = 0
    effort: Effort = field(default_factory=Effort)
    via: str = "typed"
    remarks: tuple[str, ...] = ()
    saved: str = ""
    ran: RunReport | None = None
    screen: tuple[str, ...] = ()
    one_way: bool = False

    @property
    def ok(self) -> bool:
        """Done, and proven where proof was asked for."""
        return not (self.stopped or self.lost or self.differences)

    @property
    def exit_status(self) -> int:
        if self.lost:
            return LINK_FAILED
        if self.stopped:
            return STOPPED
        if self.differences:
            return DIFFERENT
        return self.ran.exit_status if self.ran else DONE


class Meter:
    """Takes what a talk spends between `begin` and `effort`."""

    def __init__(self, talk: Conversation) -> None:
        self._talk = talk
        self._before = replace(talk.counts)
        self._began_at: float | None = None
        self._preparation_s, self._preparation_printed = 0.0, 0

    def begin(self) -> None:
        """Start the clock; it is known once something was heard of it."""
        self._began_at = self._talk.now

    def ready(self) -> None:
        """The machine is at its prompt and measured; the job itself begins."""
        assert self._began_at is not None
        self._preparation_s = self._talk.now - self._began_at
        self._preparation_printed = self._talk.counts.printed - self._before.printed

    def effort(self) -> Effort:
        talk, before = self._talk, self._before
        counts, pacing = talk.counts, talk.pacing
        return Effort(
            keystrokes=counts.keystrokes - before.keystrokes,
            printed=counts.printed - before.printed,
            lines=counts.lines - before.lines,
            lines_retyped=counts.retyped - before.retyped,
            lines_repaired=counts.repaired - before.repaired,
            wrong=counts.wrong - before.wrong,
            seconds=0.0 if self._began_at is None else talk.now - self._began_at,
            window=pacing.window,
            period_s=pacing.period_s,
            round_trip_s=pacing.round_trip_s,
            preparation_s=self._preparation_s,
            preparation_printed=self._preparation_printed,
        )


def ranges_of(image: Image) -> tuple[Range, ...]:
    """The stretches an image holds."""
    return tuple(segment.range for segment in image.segments)
