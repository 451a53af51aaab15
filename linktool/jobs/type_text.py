"""type: text goes in line by line, each line's echo proven before its end key is struck.

After a line the prompt is waited for: the text given, else the monitor's own, else silence. At the monitor a
line whose echo came wrong is mended or cancelled and typed again, as everywhere. In another program nothing
is known of its keys: there the line is dropped with `cancel`, if that is given, and the prompt must come
back before it is typed again; else typing stops and says where. Nothing is read back: only echoes are proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.dialect import ANY
from linktool.errors import DIFFERENT, DONE, LINK_FAILED, STOPPED
from linktool.jobs.attempt import attempt, leave_be
from linktool.jobs.report import Effort
from linktool.plan import timed_delays

TRIES = 5
_BLANK = " \r"
SILENCE_S = 0.5
PROMPT_S = 0.05
"""Besides four display periods: how long nothing may follow a prompt for it to be one."""


@dataclass(frozen=True)
class Text:
    """What is to be typed. lines: (number in its file, text). until: the prompt, "" for the monitor's own.
    stop_on: an answer that ends the typing, "" for none. cancel: the key that drops a line in the program
    that `until` belongs to, "" for none. patience_s: how long a line's answer may take."""

    lines: Sequence[tuple[int, str]]
    until: str = ""
    stop_on: str = ""
    cancel: str = ""
    patience_s: float = 10.0

    @property
    def to_monitor(self) -> bool:
        return not self.until


@dataclass(frozen=True)
class TypeReport:
    """typed: lines whose echo was proven and whose answer came. at: the number of the line typing ended at,
    0 when all went in. fault: why it ended there. answer: what the machine printed last."""

    machine: str
    port: str
    source: str
    lines: int
    typed: int
    at: int = 0
    fault: str = ""
    answer: str = ""
    stopped: bool = False
    lost: str = ""
    one_way: bool = False
    remarks: tuple[str, ...] = ()
    effort: Effort = field(default_factory=Effort)
    command: str = "type"

    @property
    def ok(self) -> bool:
        return not (self.stopped or self.lost or self.fault)

    @property
    def exit_status(self) -> int:
        if self.lost:
            return LINK_FAILED
        return STOPPED if self.stopped else DIFFERENT if self.fault else DONE


def _ends(came: str, prompt: str) -> bool:
    """Whether the text ends with the prompt; blanks and new lines after it do not count."""
    return came.rstrip(_BLANK).endswith(prompt.rstrip(_BLANK) or prompt)


class _Fault(Exception):
    """The machine refused a line, or a line could not be typed."""


class _Typing:
    def __init__(self, talk: Conversation, text: Text) -> None:
        self.talk, self.text = talk, text
        self.typed = self.at = 0
        self.answer = self.fault = ""

    def go(self) -> Talk[None]:
        total = len(self.text.lines)
        for number, line in self.text.lines:
            self.at = number
            yield from self._line(line)
            self.typed += 1
            yield from self.talk.note("progress", phase="type", done=self.typed, total=total, unit="line")
        self.at = 0

    def _line(self, line: str) -> Talk[None]:
        talk = self.talk
        if not talk.machine.link.echo:
            yield from self._unseen(line)
            return
        for _attempt in range(TRIES):
            talk.counts.lines += 1
            proven = yield from talk.type_text(line)
            if proven:
                yield from self._end()
                return
            talk.counts.retyped += 1
            yield from self._drop()
        raise _Fault(f"its echo came wrong {TRIES} times")

    def _end(self) -> Talk[None]:
        """Strike the end key, once, and take the answer."""
        talk, prompt = self.talk, self.text.until or self.talk.dialect.ready
        yield from talk.send(talk.dialect.end_key)
        struck, refused = talk.now, self._refusals()
        silence_s = PROMPT_S + 4 * talk.pacing.period_s if prompt else max(SILENCE_S, talk.pacing.echo_s)
        while talk.now - struck < self.text.patience_s:
            quiet = yield from talk.quiet(silence_s, self.text.patience_s - (talk.now - struck))
            self.answer = talk.inbox
            found = next((each for each in refused if each in self.answer), None)
            if quiet and found is not None:
                talk.inbox = ""
                raise _Fault("the machine refused it")
            if quiet and (_ends(self.answer, prompt) if prompt else self.answer):
                talk.inbox = ""
                return
        talk.inbox = ""
        waited = f"within {self.text.patience_s:g} s"
        raise _Fault(f"the prompt did not come back {waited}" if prompt else f"no answer came {waited}")

    def _refusals(self) -> tuple[str, ...]:
        own = self.talk.dialect.error_answer if self.text.to_monitor else ""
        return tuple(each for each in (self.text.stop_on, own) if each and ANY not in each)

    def _drop(self) -> Talk[None]:
        """The line's echo came wrong: have the machine forget it."""
        talk = self.talk
        if self.text.to_monitor:
            yield from talk.leave_line()
            return
        if not self.text.cancel:
            raise _Fault("its echo came wrong, and it stands in the machine, not ended")
        yield from talk.quiet(talk.pacing.echo_s, 5.0)
        talk.inbox = ""
        yield from talk.send(self.text.cancel)
        yield from talk.quiet(max(SILENCE_S, talk.pacing.echo_s), 5.0)
        came, talk.inbox = talk.inbox, ""
        if not _ends(came, self.text.until):
            self.answer = came
            raise _Fault("its echo came wrong, and the prompt did not come back after the cancel key")

    def _unseen(self, line: str) -> Talk[None]:
        """A one-way link: every key after its delay."""
        key_s, line_s = timed_delays(self.talk.machine)
        self.talk.counts.lines += 1
        for key in line:
            yield from self.talk.send(key)
            yield from self.talk.pause(key_s)
        yield from self.talk.send(self.talk.dialect.end_key)
        yield from self.talk.pause(line_s)


def type_text(talk: Conversation, text: Text, source: str = "", port: str = "") -> Talk[TypeReport]:
    """Type every line. At the monitor the talk begins by waking it; in another program (`until`) nothing
    is struck beforehand, so its prompt must be there. Never raises for the link."""
    typing = _Typing(talk, text)
    one_way = not talk.machine.link.echo
    at_prompt = text.to_monitor and not one_way
    at_stop = Conversation.leave_line if at_prompt else leave_be
    before = talk.dialect

    def work() -> Talk[None]:
        if not text.to_monitor:
            # The rubout key is the monitor's: in another program it may be a plain character.
            talk.dialect = replace(before, rubout_key="")
            yield from talk.quiet(0.2, 2.0)
            talk.inbox = ""
        try:
            yield from typing.go()
        except _Fault as error:
            typing.fault = str(error)
            if at_prompt:
                yield from talk.leave_line()

    try:
        ended = yield from attempt(talk, "type", work(), wake=at_prompt, at_stop=at_stop)
    finally:
        talk.dialect = before
    return TypeReport(
        talk.machine.name,
        port,
        source,
        len(text.lines),
        typing.typed,
        typing.at,
        typing.fault,
        typing.answer,
        ended.stopped,
        ended.lost,
        one_way,
        effort=ended.effort,
    )
