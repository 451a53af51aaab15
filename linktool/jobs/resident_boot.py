"""Put the resident routines into the machine and prove them: the checker by reading it back, then by a sum
over itself; receiver and reader by the checker.

Only the bootstrap is typed, where the machine has what it needs, and brings the rest; else the routines are
typed line by line. Routines this talk has proven before are used again when their sum still comes right.
Where memory at one place does not hold them, the next place is tried. The machine must be at its prompt,
and is so afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, TRIES, Conversation, Stopped
from linktool.jobs.enter import type_image
from linktool.jobs.verify import BLOCK
from linktool.machine import characters_per_second
from linktool.plan import blocks
from linktool.resident.checking import judge
from linktool.resident.forecast import NO_ROOM
from linktool.resident.pace import find_gap, least_gap_s
from linktool.resident.placement import Placement, lacking, places
from linktool.resident.reading import salvage
from linktool.resident.residence import Residence, residence
from linktool.resident.routines import (
    LEAVE_BOOTSTRAP,
    Routines,
    assembled,
    bootstrap,
    bootstrap_keys,
    length,
)
from linktool.resident.sending import strike

PHASE = "setup"
PLACES_TRIED = 3

READINGS = 10
"""How often the checker is read back, or what of it has not come right yet."""

NEAR = 5
"""Bytes between two stretches that are read along: a line more would cost as much."""

SELF_TRIES = 3
"""How often the checker is read back and summed by itself, until both agree."""

PUT_AGAIN, PUT_AGAIN_NOISY = 2, 8
"""How often bytes that read back wrong are put there again: on a clean link, and on one with faults."""


class Unfit(Exception):
    """The routines cannot be used here; the text says why."""


def settle(
    talk: Conversation, taken: Iterable[Range], receiver: bool, reader: bool = False
) -> Talk[Routines]:
    """The checker, and the others asked for, proven, clear of `taken`: those in memory if they will do, else
    put there now. Raises Unfit; Stopped, Gone, NoAnswer.
    """
    home, taken = residence(talk), tuple(taken)
    reason = lacking(talk.machine, receiver)
    if reason:
        raise Unfit(reason)
    intact = yield from _still_there(talk, home, taken, receiver, reader)
    if not intact:
        home.forget()
        yield from _anew(talk, home, taken, receiver, reader)
    assert home.routines is not None
    return home.routines


def suits(home: Residence, taken: Iterable[Range], receiver: bool, reader: bool = False) -> bool:
    """Whether the routines this talk has put into memory will do for a job that leaves `taken` alone."""
    routines = home.routines
    if routines is None or (receiver and not routines.receiver) or (reader and not routines.reader):
        return False
    return routines.placement.clear_of(taken)


def candidates(
    talk: Conversation, taken: Iterable[Range], receiver: bool, reader: bool = False
) -> list[Placement]:
    """Places for the routines, best first: for both where both fit, for the checker alone if that will do.
    What this talk has entered or checked is left alone; what earlier ones have, where that is possible."""
    home = residence(talk)
    held = [*taken, *home.held]
    found = places(talk.machine, length(True), True, held, home.wary)
    if not found and not receiver:
        found = places(talk.machine, length(False), False, held, home.wary)
    return [place for place in found if place.window or not reader]


def _still_there(
    talk: Conversation, home: Residence, taken: tuple[Range, ...], receiver: bool, reader: bool
) -> Talk[bool]:
    """The one cheap check before routines are used again: their sum over themselves."""
    routines, had_receiver, had_reader = home.routines, home.receiver, home.reader
    if routines is None or not suits(home, taken, receiver, reader):
        return False
    whole = routines.checker
    if had_receiver:
        whole = whole.overlay(routines.receiver)
    if had_reader and reader:
        whole = whole.overlay(routines.reader)
    home.forget()  # should they not come back, they are not tried again
    verdict = yield from judge(talk, routines, whole, phase=PHASE)
    if verdict.differ:
        yield from talk.note("resident", state="changed")
        return False
    home.routines, home.receiver, home.reader = routines, had_receiver, had_reader
    setup = _Setup(talk, home, routines, False, False)
    if receiver and not had_receiver:
        home.receiver = yield from setup.part(routines.receiver)
    if reader and not had_reader:
        home.reader = yield from setup.part(routines.reader)
    return (home.receiver or not receiver) and (home.reader or not reader)


def _anew(
    talk: Conversation, home: Residence, taken: tuple[Range, ...], receiver: bool, reader: bool
) -> Talk[None]:
    found = candidates(talk, taken, receiver, reader)
    if not found:
        raise Unfit(NO_ROOM.format(length(receiver)))
    yield from talk.note("putting")
    if home.gap_s is None:
        home.gap_s = max((yield from find_gap(talk)), least_gap_s(talk.machine))
    for placement in found[:PLACES_TRIED]:
        routines = assembled(talk.machine, placement)
        home.touched += routines.overwritten(True)
        setup = _Setup(talk, home, routines, receiver, reader)
        done = yield from setup.checker()
        if done:
            home.routines = routines
            home.receiver = receiver and (yield from setup.part(routines.receiver))
            home.reader = reader and (yield from setup.part(routines.reader))
        if done and (home.receiver, home.reader) == (receiver, reader):
            zero, code = routines.overwritten(receiver)
            yield from talk.note("resident", state="proven", code=code, page_zero=zero)
            return
        home.forget()
    tried = ", ".join(str(each.code) for each in found[:PLACES_TRIED])
    raise Unfit(f"memory at {tried} does not hold the routines as they were put there")


def _near(image: Image) -> list[Range]:
    """The stretches of an image, those a few bytes apart as one: that costs less than a line more."""
    joined: list[Range] = []
    for each in blocks(image, BLOCK):
        if joined and each.first - joined[-1].last <= NEAR:
            joined[-1] = Range(joined[-1].first, each.last)
        else:
            joined.append(each)
    return joined


class _Setup:
    """Routines on their way into one place."""

    def __init__(
        self, talk: Conversation, home: Residence, routines: Routines, receiver: bool, reader: bool
    ) -> None:
        self.talk, self.home, self.routines = talk, home, routines
        self.wanted = routines.checker
        if receiver:
            self.wanted = self.wanted.overlay(routines.receiver)
        if reader:
            self.wanted = self.wanted.overlay(routines.reader)
        self.loader = bootstrap(talk.machine, routines.placement)
        self.brought = False

    def checker(self) -> Talk[bool]:
        """Put everything there and prove the checker. False where memory does not hold it.

        Unfit where it holds it and the checker does not run as it should.
        """
        image = self.routines.checker
        if self.loader:
            yield from self._bring(self.wanted)
            self.brought = True
        else:
            yield from type_image(self.talk, image, [], len(image), PHASE)
        for _reading in range(SELF_TRIES):
            right = yield from self._read_back(image)
            if not right:
                return False
            verdict = yield from judge(self.talk, self.routines, image, phase=PHASE)
            if not verdict.differ:
                return True
        raise Unfit(
            f"the checker reads back right at {self.routines.placement.code}, but does not run as it "
            "should: look at the symbols char_out and monitor of the machine's profile"
        )

    def part(self, image: Image) -> Talk[bool]:
        """Prove receiver or reader by the checker. It is typed where it was not brought, or not whole: once
        the checker is proven, the bootstrap is not let near it any more."""
        noisy = self.talk.error_rate >= CALM
        there = self.brought and not noisy
        for _attempt in range(1 + PUT_AGAIN):
            if not there:
                yield from type_image(self.talk, image, [], len(image), PHASE)
            verdict = yield from judge(self.talk, self.routines, image, phase=PHASE)
            if not verdict.differ:
                return True
            there = False
        return False

    def _bring(self, image: Image) -> Talk[None]:
        """Type the bootstrap and let it bring `image`."""
        talk, loader = self.talk, self.loader
        assert loader is not None
        gap_s = self.home.gap_s or 0.0
        yield from type_image(talk, loader, [], len(loader), PHASE)
        yield from talk.note("putting")
        try:
            yield from talk.run(loader.segments[0].first)
            talk.inbox = ""
            keys = bootstrap_keys(self.routines.placement, image) + LEAVE_BOOTSTRAP
            yield from strike(talk, keys, gap_s)
            yield from self._out_of_bootstrap(len(keys), gap_s)
        except Stopped:
            yield from talk.quiet(talk.pacing.echo_s, 5.0)
            talk.inbox = ""
            yield from talk.send(LEAVE_BOOTSTRAP)
            yield from self._out_of_bootstrap(0, gap_s)
            raise

    def _out_of_bootstrap(self, keys: int, gap_s: float) -> Talk[None]:
        """Wait for the monitor; strike the key that ends the bootstrap again if it does not come."""
        talk = self.talk
        tail = "\r" + talk.dialect.ready
        wait_s = keys / characters_per_second(talk.machine.link) if not gap_s else 0.0
        for _attempt in range(TRIES):
            yield from talk.gather(len(tail), wait_s + talk.pacing.echo_s + 0.1)
            came, talk.inbox = talk.inbox, ""
            if came == tail:
                return
            if came.endswith(tail) or came == LEAVE_BOOTSTRAP:  # it is the monitor that echoes
                break
            yield from talk.send(LEAVE_BOOTSTRAP)
            wait_s = 0.0
        yield from talk.leave_line()

    def _read_back(self, image: Image) -> Talk[bool]:
        """Read `image` back until every byte has come as it should; what comes otherwise is typed again.

        One reading that agrees is enough even on a link with faults, where a wrong character can hide a
        wrong byte: the checker's sum over itself is the second reading.
        """
        talk = self.talk
        waiting, again = image, 0
        for _reading in range(READINGS):
            other: set[int] = set()
            for stretch in _near(waiting):
                text = yield from self._dump(stretch)
                found = salvage(talk.dialect, image, stretch, text)
                other |= found.other
                waiting = Image.from_cells(cell for cell in waiting.cells() if cell[0] not in found.proven)
            if not waiting:
                return True
            if other:
                again += 1
                if again > (PUT_AGAIN if talk.error_rate < CALM else PUT_AGAIN_NOISY):
                    return False
                wrong = Image.from_cells(cell for cell in waiting.cells() if cell[0] in other)
                yield from type_image(talk, wrong, [], len(wrong), PHASE)
        return False

    def _dump(self, wanted: Range) -> Talk[str]:
        """What the machine prints of `wanted`, as it came; the machine is at its prompt."""
        talk = self.talk
        text = speech.examine_line(talk.dialect, wanted)
        answer = speech.examine_answer(talk.dialect, wanted)
        talk.counts.lines += 1
        proven = yield from talk.type_text(text)
        came: str | None = None
        if proven:
            came = yield from talk.commit(answer)
            if came is not None:
                return came
            yield from talk.quiet(talk.pacing.echo_s, len(answer) * talk.pacing.period_s + 5)
            came = talk.inbox
        talk.counts.retyped += 1
        yield from talk.leave_line()
        return came or ""
