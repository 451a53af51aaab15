"""What is said over a port: type a line, commit it, read the answer. Generators that do no I/O.

Rule: nothing is committed unseen. A line's echo is read back whole before its end key goes. A wrong
echo stops the line at once; it is then repaired with the rubout key where the echo still proves what
stands in the machine's buffer, else cancelled and left to the caller to type again. One fault in a line
(a key lost, doubled or changed, or a printed character so) can therefore never commit a wrong line.

While an answer prints, one key of the next line may already wait in the keyboard register: it commits
nothing, and the display does not stand idle. See `actions` for the vocabulary, `pacing` for the times.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Action, Cancelled, Event, Lost, Note, Received, Send, Talk, TimeUp, Wait
from linktool.errors import NoAnswer
from linktool.machine import Machine
from linktool.pacing import Pacing, first_guess

if TYPE_CHECKING:
    from linktool.resident.residence import Residence

TRIES = 12
"""How often a line is cancelled, or an answer asked for, before the link counts as useless."""

IN_VAIN, STEADY = 4, 16
"""After so many lines in a row that had to be cancelled, fewer keys are under way at once, for it may be the
pace, measured too fast where echoes jitter. After so many that went through, more again."""

CALM = 0.0005
"""Errors a character below which the link counts as clean: keys may run ahead of an answer."""


class Stopped(Exception):
    """The user asked to stop; raised inside a conversation, at a wait, once."""


class Gone(Exception):
    """The port is gone, or the user will not wait for the machine; nothing more can be sent."""


@dataclass
class Counts:
    """What the talk has cost so far. printed: characters received. wrong: echoes and answers that
    were not as expected. repaired: lines mended with the rubout key. retyped: lines typed again."""

    keystrokes: int = 0
    printed: int = 0
    lines: int = 0
    wrong: int = 0
    repaired: int = 0
    retyped: int = 0


class Conversation:
    """A talk with one machine. `now` is the port's clock as last heard, `residence` what the talk knows
    of routines of ours in the machine's memory, once there are any."""

    def __init__(self, machine: Machine, pacing: Pacing | None = None) -> None:
        self.machine = machine
        self.dialect = machine.dialect
        self.pacing = pacing or first_guess(1 / machine.screen.rate_cps, machine.link.key_delay_s)
        self.counts = Counts()
        self.now = 0.0
        self.inbox = ""
        self.error_rate = 0.0
        self.calibrated = False
        self.residence: Residence | None = None
        self._ahead = ""
        self._last_sent = -1e9
        self._next_due = -1e9
        self._work_s: float | None = None
        self._in_vain = self._in_order = 0
        self._window = 0

    # ---- the wire -----------------------------------------------------------------------------

    def act(self, action: Action) -> Talk[Event]:
        """Have one action carried out. Stopped and Gone are raised from here."""
        event = yield action
        self.now = event.at
        if isinstance(event, Received):
            text = speech.received_text(event.data, self.machine.link.newline)
            self.inbox += text
            self.counts.printed += len(text)
        elif isinstance(event, Cancelled):
            raise Stopped
        elif isinstance(event, Lost):
            raise Gone(event.reason)
        return event

    def note(self, topic: str, **facts: object) -> Talk[None]:
        """Tell whoever watches."""
        yield from self.act(Note(topic, dict(facts)))

    def send(self, keys: str) -> Talk[None]:
        """Strike keys at once, unpaced."""
        settings = self.machine.keys
        yield from self.act(Send(speech.key_bytes(keys, settings.fold, settings.high_bit)))
        self.counts.keystrokes += len(keys)
        self._last_sent = self.now
        self._next_due = self.now + self.pacing.gap_s

    def pause(self, seconds: float) -> Talk[None]:
        """Let time pass, collecting what comes in."""
        end = self.now + seconds
        while self.now < end:
            yield from self.act(Wait(end - self.now))

    def gather(self, count: int, silence_s: float) -> Talk[bool]:
        """Wait until `count` characters stand in the inbox; False when `silence_s` passes without one."""
        while len(self.inbox) < count:
            event = yield from self.act(Wait(silence_s))
            if isinstance(event, TimeUp):
                return False
        return True

    def quiet(self, silence_s: float, most_s: float) -> Talk[bool]:
        """Wait until nothing has come for `silence_s`; False when it never stops within `most_s`."""
        end = self.now + most_s
        while self.now < end:
            event = yield from self.act(Wait(silence_s))
            if isinstance(event, TimeUp):
                return True
        return False

    def learn(self, characters: int, wrong: int) -> None:
        """Keep a running error rate over about the last 1,500 characters."""
        keep = 0.5 ** (characters / 1000)
        self.error_rate = self.error_rate * keep + (wrong / 1500 if wrong else 0.0)
        self.counts.wrong += wrong

    # ---- one line -----------------------------------------------------------------------------

    def line(
        self, text: str, answer: str, upcoming: str = "", bytes_at: int | None = None
    ) -> Talk[str | None]:
        """Type `text`, prove its echo, commit it, and take the answer; None when it must be done again,
        the machine being back at its prompt. `upcoming`: the next line's text, if it is sure to follow."""
        self.counts.lines += 1
        proven = yield from self._typed(text, bytes_at)
        if proven:
            found = yield from self.commit(answer, upcoming)
            if found is not None:
                return found
        self.counts.retyped += 1
        yield from self.leave_line()
        return None

    def _typed(self, text: str, bytes_at: int | None = None) -> Talk[bool]:
        """`type_text`, and what its outcome says about the pace."""
        proven = yield from self.type_text(text, bytes_at)
        window = self.pacing.window
        if proven:
            self._in_vain, self._in_order = 0, self._in_order + 1
            if self._in_order % STEADY == 0 and window < self._window:
                self.pacing = replace(self.pacing, window=min(2 * window, self._window))
        else:
            self._in_vain, self._in_order = self._in_vain + 1, 0
            if self._in_vain >= IN_VAIN and window > 1:
                self._window = max(self._window, window)
                self.pacing = replace(self.pacing, window=window // 2)
        return proven

    def type_text(self, text: str, bytes_at: int | None = None) -> Talk[bool]:
        """Type `text` without its end key. True: its echo came back whole. False: cancel the line.
        `bytes_at`: where its hex bytes begin, so that one of them may be typed again in place."""
        sent = len(self._ahead) if text.startswith(self._ahead) else 0
        if self._ahead and not sent:
            return False
        self._ahead = ""
        seen, waiting_since = 0, self.now
        while seen < len(text):
            arrived = 0
            for character in self.inbox:
                if seen + arrived >= sent or character != text[seen + arrived]:
                    break
                arrived += 1
            if arrived:
                self.inbox = self.inbox[arrived:]
                seen += arrived
                waiting_since = self.now
                self.learn(arrived, 0)
                continue
            due = None
            if sent < len(text) and not self.inbox:
                due = self._due(sent - seen)
                if due is not None and due <= self.now:
                    if sent == seen:
                        waiting_since = self.now
                    yield from self.send(text[sent])
                    sent += 1
                    continue
            patience = max(waiting_since, self._last_sent) + self.pacing.echo_s - self.now
            if self.inbox or (patience <= 0 and due is None):
                mended = yield from self._mend(text, sent, seen, len(text) if bytes_at is None else bytes_at)
                if mended is None:
                    return False
                text, seen = mended
                sent, waiting_since = seen, self.now
                continue
            yield from self.act(Wait(max(0.0, patience if due is None else due - self.now)))
        yield from self.act(Wait(self.pacing.still_s))
        if self.inbox:  # the last key was doubled, or the machine prints of itself
            self.learn(0, 1)
        return not self.inbox

    def _due(self, under_way: int) -> float | None:
        """When the next key may go: the window's rule, and never before what `commit` has reserved."""
        return self._next_due if under_way < self.pacing.window else None

    def _mend(self, text: str, sent: int, seen: int, bytes_at: int) -> Talk[tuple[str, int] | None]:
        """A wrong or missing echo after `seen` good ones of `sent` keys. Rub out and say what is still
        to be typed, as (line, how much of it stands); None when only cancelling is safe."""
        under_way = sent - seen
        yield from self.gather(under_way, self.pacing.echo_s)
        came = self.inbox
        if came == text[seen:sent]:  # only late
            self.pacing = self.pacing.more_patient()
            self.inbox = ""
            return text, sent
        self.learn(0, 1)
        clean = all(" " <= character <= "^" and character != self.dialect.rubout_key for character in came)
        if not self.dialect.rubout_key or not clean or len(text) + 2 > self.dialect.line_limit:
            return None
        self.inbox = ""
        if len(came) == under_way:
            good = next(i for i, character in enumerate(came) if character != text[seen + i])
            keep, rest = seen + good, text
        elif len(came) == under_way - 1:
            # A key is missing from the buffer, or only its echo from the wire: the buffer may hold one
            # character more than counted. Rub back into a byte so that its first digit may stand or not,
            # and type the byte again with a leading 0: the last two digits count either way.
            before = self._byte_before(text, seen, bytes_at)
            if before is None or self.dialect.digits_max < 4:
                return None
            keep, rest = before, text[:before] + "0" + text[before:]
            sent -= 1
        else:
            return None
        rubbed = yield from self._rub_out(sent - keep)
        if not rubbed:
            return None
        self.counts.repaired += 1
        return rest, keep

    def _byte_before(self, text: str, seen: int, bytes_at: int) -> int | None:
        """The last place before `seen` where the first digit of a byte stands; None where there is none."""
        separator = self.dialect.separator
        for at in range(seen - 1, bytes_at, -1):
            if text[at - len(separator) : at] == separator and text[at] != separator:
                return at
        return None

    def _rub_out(self, count: int) -> Talk[bool]:
        """Strike the rubout key; True when each one's echo came, and nothing else."""
        key = self.dialect.rubout_key
        sent = 0
        while len(self.inbox) < count:
            if sent < count:
                due = self._due(sent - len(self.inbox))
                if due is not None and due <= self.now:
                    yield from self.send(key)
                    sent += 1
                    continue
                wait = self.pacing.echo_s if due is None else due - self.now
            else:
                due, wait = None, self.pacing.echo_s
            event = yield from self.act(Wait(wait))
            if isinstance(event, TimeUp) and due is None:
                return False
        exact = self.inbox == key * count
        if exact:
            self.inbox = ""
        return exact

    def commit(self, answer: str, upcoming: str = "") -> Talk[str | None]:
        """Strike the end key of a proven line and take the answer; None when it was not the one expected."""
        pacing = self.pacing
        yield from self.send(self.dialect.end_key)
        struck = self.now
        ahead = bool(upcoming) and pacing.window > 1 and self.error_rate < CALM and self._work_s is not None
        printing_s = len(answer) * pacing.period_s
        if ahead:
            yield from self.pause(pacing.period_s)
            yield from self.send(upcoming[0])
            self._ahead = upcoming[0]
            self._next_due = struck + printing_s + (self._work_s or 0) + 0.5 * pacing.period_s
        again = self.dialect.empty_line_harmless and not ahead
        silence_s = pacing.echo_s + (1.0 if self._work_s is None else 2 * self._work_s + 0.1)
        while True:
            came = yield from self.gather(len(answer), silence_s)
            if came or self.inbox or not again:
                break
            again = False
            self.learn(0, 1)
            yield from self.send(self.dialect.end_key)
            struck = self.now
        found = self.inbox[: len(answer)]
        if not speech.same(answer, found):
            self.learn(0, 1)
            return None
        self.inbox = self.inbox[len(answer) :]
        if len(answer) < 40:
            work_s = max(0.0, self.now - struck - pacing.round_trip_s - printing_s)
            self._work_s = max(work_s, 0.9 * (self._work_s or 0.0))
        self.learn(len(answer), 0)
        return found

    def leave_line(self, settled: bool = False) -> Talk[None]:
        """Cancel the line in hand and come back to the prompt. NoAnswer when the machine does not.
        settled: every key struck has been echoed, so there is nothing to wait for first."""
        floods, calm = 0, True
        for attempt in range(TRIES):
            # An answer later than `echo_s` would be taken for noise each time: wait longer and longer.
            patience_s = min(2.0, (self.pacing.echo_s + 0.05) * 1.4**attempt)
            if attempt or not settled:
                calm = yield from self.quiet(patience_s if attempt > 1 else self.pacing.echo_s, 20.0)
            last, self.inbox, self._ahead = self.inbox, "", ""
            if not calm:
                floods += 1
                if floods == 3:
                    break
                continue
            yield from self.send(self.dialect.cancel_key)
            yield from self.gather(len(self.dialect.cancel_answer), patience_s)
            if self.inbox == self.dialect.cancel_answer:
                self.inbox = ""
                return
            self.learn(0, 1)
        shown = speech.printable((self.inbox or last)[-40:], " ") or "nothing"
        raise NoAnswer(
            f"the machine did not come back to its prompt when its cancel key was struck; last came: {shown}",
            "Press its reset key and try again",
        )

    # ---- whole requests -----------------------------------------------------------------------

    def examine(self, wanted: Range, upcoming: str = "") -> Talk[speech.Reading]:
        """Have `wanted` printed once. Rows that came spoilt are named in the result, not asked for again."""
        text = speech.examine_line(self.dialect, wanted)
        answer = speech.examine_answer(self.dialect, wanted)
        for _attempt in range(TRIES):
            self.counts.lines += 1
            proven = yield from self._typed(text)
            if proven:
                found = yield from self.commit(answer, upcoming)
                if found is not None:
                    return speech.read_rows(self.dialect, wanted, found)
                yield from self.quiet(self.pacing.echo_s, len(answer) * self.pacing.period_s + 5)
                reading = speech.read_rows(self.dialect, wanted, self.inbox)
                yield from self.leave_line()
                if reading.image:
                    return reading
            else:
                yield from self.leave_line()
            self.counts.retyped += 1
        return speech.Reading(Image(), (wanted,))

    def run(self, address: int) -> Talk[None]:
        """Start a program. What it prints is left in the inbox. NoAnswer when it cannot be started."""
        text = speech.run_line(self.dialect, address)
        answer = speech.run_answer(self.dialect, address)
        for _attempt in range(TRIES):
            self.counts.lines += 1
            proven = yield from self._typed(text)
            if proven:
                yield from self.commit_run(answer)
                return
            self.counts.retyped += 1
            yield from self.leave_line()
        raise NoAnswer(f"the line {text!r} could not be typed: its echo was wrong {TRIES} times")

    def commit_run(self, answer: str) -> Talk[None]:
        """Strike the end key of a proven run line. It is never struck twice: the program may have started."""
        yield from self.send(self.dialect.end_key)
        yield from self.gather(len(answer), self.pacing.echo_s + 0.2)
        if speech.same(answer, self.inbox[: len(answer)]):
            self.inbox = self.inbox[len(answer) :]
