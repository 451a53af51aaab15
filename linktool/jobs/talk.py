"""talk: the user's keys go to the machine, and all it prints comes back, until the user leaves.

Keys that come faster than a person strikes them, from a pipe or pasted, are paced: the next one goes when
the display has had its time and something came back, or patience has ended; from a pipe, a line's answer is
waited for until the machine falls silent. Nothing is checked here: the person sees the echo.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from linktool.actions import Received, Talk, Wait
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import DONE, LINK_FAILED, STOPPED
from linktool.jobs.report import Effort, Meter
from linktool.plan import timed_delays
from linktool.talk_keys import Leave, Say, Strike, TalkKeys

if TYPE_CHECKING:
    from linktool.keyboard import Keyboard

SLICE_S = 0.02
UNECHOED_S = 0.25
"""After this long the next key goes though nothing came back: programs need not echo."""

SILENCE_S = 0.4
END_SILENCE_S = 1.0
MOST_S = 600.0
KEPT = 1 << 20


@dataclass(frozen=True)
class TalkReport:
    """output: the last of what came, a new line as carriage return; kept: the file that has all of it."""

    machine: str
    port: str
    output: str
    received: int
    stopped: bool = False
    lost: str = ""
    saved: str = ""
    effort: Effort = field(default_factory=Effort)
    command: str = "talk"

    @property
    def ok(self) -> bool:
        return not (self.stopped or self.lost)

    @property
    def exit_status(self) -> int:
        return LINK_FAILED if self.lost else STOPPED if self.stopped else DONE


class _Talk:
    def __init__(self, talk: Conversation, keys: Keyboard, real_time: bool) -> None:
        self.talk, self.keys, self.live, self.real_time = talk, keys, keys.live, real_time
        self.meaning = TalkKeys(talk.machine)
        self.pending: deque[str] = deque()
        self.output, self.received = "", 0
        self.over = self.left = False
        self._began_at = self._struck_at = self._heard_at = -1e9
        self._last_key = ""
        one_way = not talk.machine.link.echo
        self._delays = timed_delays(talk.machine) if one_way else None

    def go(self) -> Talk[None]:
        yield from self._take()
        self._began_at = self.talk.now
        while not self.left:
            yield from self._look()
            if self.left:
                break
            wait_s = SLICE_S
            if self.pending:
                wait_s = self._due() - self.talk.now
                if wait_s <= 0:
                    yield from self._strike(self.pending.popleft())
                    continue
            elif self.over and self._silent():
                break
            event = yield from self.talk.act(Wait(min(wait_s, SLICE_S)))
            if isinstance(event, Received):
                self._heard_at = self.talk.now
            yield from self._take()

    def _look(self) -> Talk[None]:
        """Look for keys. On a port whose clock is not the world's, real time is spent here instead."""
        if self.over or (self.pending and not self.live):
            return
        found = self.keys.read(0.0 if self.real_time or self.pending else SLICE_S)
        if found is None:
            self.over = True
            return
        for each in self.meaning.read(found):
            if isinstance(each, Strike):
                self.pending.extend(each.keys)
            elif isinstance(each, Say):
                yield from self.talk.note("said", text=each.text)
            elif isinstance(each, Leave):
                self.keys.unread(each.rest)
                self.left, self.over = self.live, True

    def _strike(self, key: str) -> Talk[None]:
        yield from self.talk.send(key)
        self._struck_at, self._last_key = self.talk.now, key

    def _due(self) -> float:
        """When the next key may go, on the port's clock."""
        talk = self.talk
        ended = self._last_key == talk.dialect.end_key
        if self._delays:
            return self._struck_at + self._delays[ended]
        period_s = talk.pacing.period_s
        echoed = self._heard_at > self._struck_at
        due = self._struck_at + (period_s if echoed else max(UNECHOED_S, 2 * period_s))
        if ended and not self.live:
            due = min(max(due, self._heard_at, self._struck_at) + SILENCE_S, self._struck_at + MOST_S)
        return due

    def _silent(self) -> bool:
        """After the last key of a pipe: whether all that was to come has come."""
        now = self.talk.now
        last = max(self._began_at, self._struck_at)
        return now - max(self._heard_at, last) >= END_SILENCE_S or now - last > MOST_S

    def _take(self) -> Talk[None]:
        text, self.talk.inbox = self.talk.inbox, ""
        if text:
            self.received += len(text)
            self.output = (self.output + text)[-KEPT:]
            yield from self.talk.note("output", text=text)


def talk(speech: Conversation, keys: Keyboard, port: str = "", *, real_time: bool = True) -> Talk[TalkReport]:
    """Speak to the machine until a Leave, or until `keys` has no more and the machine is silent.

    real_time: the port's clock is the world's. Notes "output" hold what came, "said" what is to be told to
    the person. Never raises for the link.
    """
    meter = Meter(speech)
    stopped, lost = False, ""
    part = _Talk(speech, keys, real_time)
    try:
        yield from speech.note("begin", command="talk")
        meter.begin()
        yield from part.go()
        yield from part._take()
    except Stopped:
        stopped = True
    except Gone as error:
        lost = str(error)
    return TalkReport(
        speech.machine.name,
        port,
        part.output,
        part.received,
        stopped,
        lost,
        effort=meter.effort(),
    )
