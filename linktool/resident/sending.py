"""Send bytes to the receiver: blocks in a window, answers matched, what is lost sent again.

A block that is not answered is sent again; blocks name their own address, so order does not matter and one
that came twice does no harm. Answers come in order: an answer to a later block means the ones before it
are lost. The next block is under way while the answer to the last one is printed. Blocks are as long as
the faults seen allow. `Broken` means that nobody answers as a receiver does: the rate is too high for the
adapter, or the receiver does not run any more. Nothing here claims proof: the checker gives it afterwards.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace

from formats.image import Image, Range
from linktool.actions import Talk, Wait
from linktool.conversation import TRIES, Conversation, Stopped
from linktool.machine import characters_per_second
from linktool.resident.block_plan import best_block, longest_block, marks_before, marks_behind
from linktool.resident.blocks import ANSWERS, block, end_block, tight_block
from linktool.resident.routines import Routines

UNDERCOUNT = 1.25
"""Faults a spoilt block has on average where one in three is spoilt."""

PROBE = 24
"""Data bytes of the first blocks; the first answer tells how fast keys really arrive."""

SHORTER = 6
"""Bytes a block may be cut short by to save keys at its end."""

UNSURE_S = 0.5
"""Patience more as long as it is not known how fast keys really arrive."""

AHEAD_S = 0.1
"""Keys under way beyond what the answer's time asks for, so that a lost block does not stop the rest."""

MISSES, STRAYS = 10, 8
"""Blocks in a row without an answer, or characters that are no answer, after which nobody is there."""

LEAVING_S = (0.0, 0.0, 0.005, 0.005, 0.012, 0.012, 0.03)
"""Time between the keys of the last block, the first, second... time it is sent: an adapter for which all
else came too fast must be able to give these."""

POOR = 0.25
"""Of the blocks sent, the part that must be answered; fewer, and the rate is to blame."""


class Broken(Exception):
    """Nobody answers as a receiver does. too_fast: keys that come too fast may be why."""

    def __init__(self, reason: str, too_fast: bool) -> None:
        super().__init__(reason)
        self.too_fast = too_fast


@dataclass(frozen=True)
class Flight:
    """A block on its way: what it holds, the answer it brings, its keys, the clock when it was sent and
    when, by what is known, its last key is there."""

    address: int
    data: bytes
    answer: str
    keys: int
    sent_at: float
    over_at: float


@dataclass
class Tally:
    """What sending took. keys: struck, marks and all; wasted: blocks that were not answered."""

    keys: int = 0
    blocks: int = 0
    wasted: int = 0
    seconds: float = 0.0
    data: int = 0


def send_image(
    talk: Conversation,
    routines: Routines,
    image: Image,
    gap_s: float,
    sent: list[tuple[int, bytes]],
    tally: Tally | None = None,
) -> Talk[None]:
    """Run the receiver, bring it `image`, and come back to the prompt. `sent` grows by what was answered.

    Raises Broken with the machine in an unknown state; Stopped, Gone, NoAnswer.
    """
    sender = _Sender(talk, routines, image, gap_s, sent, tally or Tally())
    try:
        yield from talk.run(routines.receive)
        talk.inbox = ""
        yield from sender.send()
    except Stopped:
        yield from talk.quiet(talk.pacing.echo_s, 5.0)
        yield from leave(talk, routines, gap_s)
        raise
    yield from leave(talk, routines, gap_s)


def leave(talk: Conversation, routines: Routines, gap_s: float) -> Talk[None]:
    """Send the receiver back to the monitor. NoAnswer when nothing brings the prompt back."""
    tail, home = "\r" + talk.dialect.ready, talk.dialect.cancel_answer
    for attempt in range(TRIES):
        if attempt:
            yield from talk.quiet(talk.pacing.echo_s, 5.0)
        talk.inbox = ""
        slower_s = LEAVING_S[min(attempt, len(LEAVING_S) - 1)]
        yield from strike(talk, routines.mark + end_block() + routines.mark, max(gap_s, slower_s))
        yield from talk.gather(len(tail), talk.pacing.echo_s + 0.05)
        if talk.inbox == tail:
            talk.inbox = ""
            return
        yield from talk.quiet(talk.pacing.echo_s, 5.0)
        if talk.inbox.endswith(tail) or (home and home in talk.inbox):
            break
    yield from talk.leave_line()


def strike(talk: Conversation, keys: str, gap_s: float) -> Talk[None]:
    """Keys for a routine that does not echo: at the adapter's own rate, or `gap_s` apart."""
    if not gap_s:
        yield from talk.send(keys)
        return
    for key in keys:
        yield from talk.send(key)
        yield from talk.pause(gap_s)


class _Sender:
    def __init__(
        self,
        talk: Conversation,
        routines: Routines,
        image: Image,
        gap_s: float,
        sent: list[tuple[int, bytes]],
        tally: Tally,
    ) -> None:
        self.talk, self.routines, self.gap_s = talk, routines, gap_s
        self.sent, self.tally = sent, tally
        self.waiting = deque((segment.first, segment.data) for segment in image.segments)
        self.image = image
        self.flights: deque[Flight] = deque()
        self.given_up: dict[str, Flight] = {}
        self.longest = longest_block(routines.placement.size)
        self.error_rate = talk.error_rate
        self.key_s = max(gap_s, 1 / characters_per_second(talk.machine.link))
        self.over_at = self.answered_at = talk.now
        self.free_answers = deque(ANSWERS)
        self.answered = self.failed = self.misses = self.strays = 0

    def send(self) -> Talk[None]:
        began = self.talk.now
        yield from strike(self.talk, self.routines.mark, self.gap_s)
        while self.waiting or self.flights:
            if self._take_answers():
                total = len(self.image)
                yield from self.talk.note("progress", phase="enter", done=self._in_place(), total=total)
            if self.waiting and self._room():
                yield from self._launch()
            elif self.flights:
                left_s = self._due() - self.talk.now
                if left_s > 0:
                    yield from self.talk.act(Wait(left_s))
                else:
                    self._miss()
        self.tally.seconds += self.talk.now - began

    def _in_place(self) -> int:
        """How many bytes from the image's first on have been answered, without a gap."""
        missing = [flight.address for flight in self.flights] + [address for address, _ in self.waiting]
        if not missing:
            return len(self.image)
        return len(self.image.slice(Range(0, min(missing) - 1))) if min(missing) else 0

    def _room(self) -> bool:
        """Whether another block may be under way: enough to keep the wire busy, even where one is lost."""
        if not self.flights:
            return True
        if not self.answered:
            return len(self.flights) < 2
        block_s = self.flights[-1].keys * self.key_s
        answer_s = self.talk.pacing.round_trip_s + 2 * self.talk.pacing.period_s
        return len(self.flights) < 1 + math.ceil((answer_s + AHEAD_S) / block_s)

    def _due(self) -> float:
        """When the oldest block's answer is overdue."""
        pacing = self.talk.pacing
        patience_s = 2 * pacing.period_s + pacing.slack_s + (0.0 if self.answered else UNSURE_S)
        return self.flights[0].over_at + pacing.round_trip_s + patience_s

    def _launch(self) -> Talk[None]:
        address, data = self.waiting.popleft()
        most = min(self.longest, best_block(UNDERCOUNT * self.error_rate, self.longest))
        if not self.answered:
            most = min(most, PROBE)
        parts = max(1, round(len(data) / most), math.ceil(len(data) / self.longest))
        length = min(self.longest, math.ceil(len(data) / parts / 3) * 3)
        keys, answer, length = self._spelled(address, data, length)
        if len(data) > length:
            self.waiting.appendleft((address + length, data[length:]))
            data = data[:length]
        keys = self._with_marks(keys, len(data))
        self.tally.blocks += 1
        self.tally.keys += len(keys)
        now = self.talk.now
        self.given_up.pop(answer, None)
        self.free_answers.remove(answer)
        self.free_answers.append(answer)
        self.over_at = max(now, self.over_at) + len(keys) * self.key_s
        self.flights.append(Flight(address, data, answer, len(keys), now, self.over_at))
        yield from strike(self.talk, keys, self.gap_s)

    def _spelled(self, address: int, data: bytes, length: int) -> tuple[str, str, int]:
        """A block of the data's first `length` bytes, or a little less where that closes with fewer keys and
        leaves enough for another block."""
        answers = self._answers()
        least = length if len(data) < 1.5 * length else max(1, length - SHORTER)
        for shorter in range(length, least - 1, -3):
            found = tight_block(address, data[:shorter], answers)
            if found:
                return (*found, min(shorter, len(data)))
        return (*block(address, data[:length], answers), min(length, len(data)))

    def _answers(self) -> list[str]:
        """The answers to choose from: the half of them that is longest out of use."""
        return list(self.free_answers)[: len(ANSWERS) // 2]

    def _with_marks(self, keys: str, count: int) -> str:
        """A block's keys with marks before them, until the display has taken the answer to the last block,
        and behind them, until the receiver has moved this one."""
        machine, mark = self.talk.machine, self.routines.mark
        before = marks_before(machine, len(keys), self.talk.pacing.period_s, self.gap_s)
        return mark * before + keys + mark * marks_behind(machine, count, self.gap_s)

    def _take_answers(self) -> int:
        """Match what came with the blocks under way; how many were answered."""
        came, self.talk.inbox = self.talk.inbox, ""
        before = self.answered
        for character in came:
            place = next((i for i, each in enumerate(self.flights) if each.answer == character), None)
            if place is None or not self._may_be(place):
                self._late(character)
                continue
            for _lost in range(place):
                self._lose()
            flight = self.flights.popleft()
            self._learn_rate(flight, place)
            self._answered(flight)
        home = self.talk.dialect.cancel_answer
        if self.strays >= STRAYS or (home and home in came):
            raise Broken("the monitor answers, not the receiver", False)
        return self.answered - before

    def _may_be(self, place: int) -> bool:
        """Whether the block under way at `place` can have arrived by now: else the character is spoilt."""
        if not place or not self.answered:
            return True
        keys = sum(self.flights[i].keys for i in range(place + 1))
        return self.talk.now > max(self.answered_at, self.flights[0].sent_at) + 0.5 * keys * self.key_s

    def _answered(self, flight: Flight) -> None:
        self.answered += 1
        self.misses = self.strays = 0
        self.sent.append((flight.address, flight.data))
        self.tally.data += len(flight.data)
        self._learn(flight.keys, 0)

    def _late(self, character: str) -> None:
        """A character that answers nothing under way: it may answer a block that was given up too early."""
        flight = self.given_up.pop(character, None)
        if flight is None:
            self.strays += 1
            return
        if not self.answered:
            self._learn_rate(flight, 0)
        if (flight.address, flight.data) in self.waiting:
            self.waiting.remove((flight.address, flight.data))
            self._answered(flight)
        late_s = self.talk.now - self.talk.pacing.round_trip_s - flight.over_at
        for place, each in enumerate(self.flights):
            self.flights[place] = replace(each, over_at=each.over_at + late_s)
        self.over_at += late_s

    def _learn_rate(self, flight: Flight, skipped: int) -> None:
        """What a key took: between two answers, or for the first from the sending to the answer. What is
        still under way is expected as much later, or earlier, as this answer came."""
        now, pacing = self.talk.now, self.talk.pacing
        if not self.answered:
            taken_s = now - flight.sent_at - pacing.round_trip_s - pacing.period_s
            self.key_s = max(self.key_s, taken_s / flight.keys)
        elif flight.sent_at <= self.answered_at and not skipped:
            self.key_s = max(self.gap_s, 0.5 * (self.key_s + (now - self.answered_at) / flight.keys))
        self.answered_at = now
        at = now - pacing.round_trip_s
        for place, each in enumerate(self.flights):
            at = max(at, each.sent_at) + each.keys * self.key_s
            self.flights[place] = replace(each, over_at=at)
        self.over_at = at

    def _miss(self) -> None:
        """No answer in time."""
        self.misses += 1
        self._lose()
        if self.misses >= MISSES:
            raise Broken("the receiver does not answer", not self.answered)

    def _lose(self) -> None:
        """The oldest block was not taken: it goes to the front again."""
        flight = self.flights.popleft()
        self.waiting.appendleft((flight.address, flight.data))
        self.given_up[flight.answer] = flight
        self.tally.wasted += 1
        self.failed += 1
        self._learn(flight.keys, 1)
        tried = self.failed + self.answered
        if tried >= 16 and self.answered < POOR * tried:
            raise Broken("too few blocks arrive whole", True)

    def _learn(self, keys: int, wrong: int) -> None:
        """A running rate of faults a key, over about the last 2,000 keys."""
        keep = 0.5 ** (keys / 1400)
        self.error_rate = self.error_rate * keep + (wrong / 2000 if wrong else 0.0)
