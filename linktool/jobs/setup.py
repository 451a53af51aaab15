"""The parts of a first connection: find out which dialect answers, and look at memory without writing.

Recognising: each known dialect's cancel key is struck, and what comes back is compared; a prompt of another
single character than the profile's is taken over. A candidate counts only when it then prints a row of
memory as it should. Looking: a few bytes at each place are read twice. Reading tells what answers, never
what can be written: that is for `survey`. No key struck here writes to memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Received, Send, Talk, TimeUp, Wait
from linktool.conversation import Conversation
from linktool.machine import Machine

ANSWER_S = 1.5
QUIET_S = 0.35
MOST_S = 4.0
TRIES = 3
LOOKED_AT = 4
"""Bytes read at each place."""

Verdict = Literal["answers", "bare", "unsteady", "unread"]
"""answers: steady bytes that a bare bus would not give. bare: all bytes FF, or all the high half of the
address, which a bus that nothing drives often gives. unsteady: two readings differ. unread: none came."""


@dataclass(frozen=True)
class Recognition:
    """machine: the profile whose dialect answers, with the prompt, the new line and the key's top bit as
    they were found; None when none does. heard: what each cancel key brought."""

    machine: Machine | None
    heard: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Look:
    """What a place gave at its two readings."""

    range: Range
    verdict: Verdict
    data: bytes = b""


@dataclass(frozen=True)
class SetupReport:
    """What a first connection ended with. profile: the file written. rom: the file the ROM was saved to, or
    "". looked: what was looked at. kept: port and machine are remembered in the settings."""

    machine: Machine
    port: str
    profile: str
    rom: str = ""
    looked: tuple[Look, ...] = ()
    kept: bool = False
    command: str = "setup"
    exit_status: int = 0


def recognise(talk: Conversation, candidates: Sequence[Machine]) -> Talk[Recognition]:
    """Which of the candidates' dialects the machine speaks. Raises Stopped and Gone."""
    heard: list[tuple[str, str]] = []
    for high_bit in (False, True):
        keys = dict.fromkeys(each.dialect.cancel_key for each in candidates if each.dialect.cancel_key)
        for key in keys:
            yield from talk.note("recognise", key=key)
            raw = yield from _struck(talk, key, high_bit)
            if not raw:
                continue
            newline = "lf" if b"\n" in raw and b"\r" not in raw else "cr"
            answer = speech.received_text(raw, newline)
            heard.append((key, answer))
            for candidate in _answering(candidates, key, answer):
                found = replace(
                    candidate,
                    keys=replace(candidate.keys, high_bit=high_bit),
                    link=replace(candidate.link, newline=newline),
                )
                prints = yield from _prints(talk, found)
                if prints:
                    return Recognition(found, tuple(heard))
    return Recognition(None, tuple(heard))


def _struck(talk: Conversation, key: str, high_bit: bool) -> Talk[bytes]:
    """The key is struck, twice if need be: the answer to the first may have had a line before it."""
    raw = b""
    code = bytes(ord(each) | (0x80 if high_bit else 0) for each in key)
    for _attempt in range(2):
        yield from _bytes(talk, QUIET_S, MOST_S)
        yield from talk.act(Send(code))
        first = yield from _bytes(talk, ANSWER_S, ANSWER_S)
        rest = (yield from _bytes(talk, QUIET_S, MOST_S)) if first else b""
        raw = bytes(byte & 0x7F for byte in first + rest) or raw
    return raw


def _bytes(talk: Conversation, silence_s: float, most_s: float) -> Talk[bytes]:
    """What comes until nothing has come for a while."""
    raw, end = b"", talk.now + most_s
    while talk.now < end:
        event = yield from talk.act(Wait(min(silence_s, end - talk.now)))
        if isinstance(event, TimeUp):
            break
        if isinstance(event, Received):
            raw += event.data
            silence_s = QUIET_S
    talk.inbox = ""
    return raw


def _answering(candidates: Iterable[Machine], key: str, answer: str) -> list[Machine]:
    """Those whose cancel key is answered so, exact ones first; the others with another prompt."""
    exact: list[Machine] = []
    near: list[Machine] = []
    for candidate in candidates:
        dialect = candidate.dialect
        if dialect.cancel_key != key:
            continue
        if answer == dialect.cancel_answer:
            exact.append(candidate)
            continue
        ready = dialect.ready
        stem = dialect.cancel_answer.removesuffix(ready)
        prompt = answer.removeprefix(stem)
        if len(ready) == 1 and answer.startswith(stem) and len(prompt) == 1 and " " < prompt < "_":
            error = dialect.error_answer
            if error.endswith(ready):
                error = error.removesuffix(ready) + prompt
            near.append(
                replace(
                    candidate,
                    dialect=replace(dialect, ready=prompt, cancel_answer=stem + prompt, error_answer=error),
                )
            )
    return [*exact, *near]


def _prints(talk: Conversation, machine: Machine) -> Talk[bool]:
    """Whether it prints a row of memory as this dialect does. ROM is looked at, so nothing can change."""
    first = next((area.range.first for area in machine.areas if area.kind == "rom"), None)
    if first is None:
        first = machine.areas[0].range.first
    row = Range(first, first | 3)
    trial = Conversation(machine)
    trial.now = talk.now
    whole = False
    for _attempt in range(TRIES):
        proven = yield from trial.type_text(speech.examine_line(machine.dialect, row))
        if proven:
            found = yield from trial.commit(speech.examine_answer(machine.dialect, row))
            whole = found is not None and not speech.read_rows(machine.dialect, row, found).spoilt
        if whole:
            break
        yield from trial.quiet(QUIET_S, MOST_S)
        yield from trial.send(machine.dialect.cancel_key)
        yield from trial.quiet(ANSWER_S, MOST_S)
        trial.inbox = ""
    talk.now, talk.inbox = trial.now, ""
    return whole


def look(talk: Conversation, places: Sequence[int]) -> Talk[tuple[Look, ...]]:
    """Read LOOKED_AT bytes at each address twice. The machine must be at its prompt, the link calibrated.
    Raises Stopped and Gone; what was looked at before a NoAnswer is lost with it."""
    found: list[Look] = []
    for number, place in enumerate(places, 1):
        where = Range(place, min(place + LOOKED_AT - 1, 0xFFFF))
        first = yield from _reading(talk, where)
        second = yield from _reading(talk, where)
        found.append(_judged(where, first, second))
        yield from talk.note("progress", phase="look", done=number, total=len(places), unit="place")
    return tuple(found)


def _reading(talk: Conversation, where: Range) -> Talk[Image]:
    reading = yield from talk.examine(where)
    return reading.image


def _judged(where: Range, first: Image, second: Image) -> Look:
    if len(first) < len(where) or len(second) < len(where):
        return Look(where, "unread")
    data = first.segments[0].data
    if first != second:
        return Look(where, "unsteady", data)
    bare = set(data) in ({0xFF}, {where.first >> 8})
    return Look(where, "bare" if bare else "answers", data)


def places_to_look(skip: Sequence[Range], step: int = 0x400) -> tuple[int, ...]:
    """One address in every `step`, none within LOOKED_AT of what is to be skipped: there the next free
    one within the same stretch, if there is one."""
    found = []
    for base in range(0, 0x10000, step):
        for at in range(base, base + step, 0x10):
            where = Range(at, at + LOOKED_AT - 1)
            if not any(where.overlap(each) for each in skip):
                found.append(at)
                break
    return tuple(found)
