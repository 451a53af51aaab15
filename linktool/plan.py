"""The lines that will be typed for an image on a machine, and what they cost. Pure.

Dense layout: the fewest keystrokes that are safe in the dialect: lines filled up to the limit,
continuation lines where they follow on, bytes and addresses with the fewest digits. Filling each line
before the next is begun is optimal: a line more costs its head and its end key, a byte costs the same
in any line. Screen layout: eight bytes a line, two digits each, for people who follow with their eyes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from formats.image import Image, Range, Segment, hex4
from linktool import dialect as speech
from linktool.errors import RefusedError
from linktool.machine import Machine, characters_per_second

Layout = Literal["dense", "screen"]
SCREEN_BYTES = 8


@dataclass(frozen=True)
class Line:
    """One line to type: `text` without its end key, where in it the bytes begin, what it deposits,
    and the answer that must come."""

    text: str
    bytes_at: int
    range: Range
    data: bytes
    continued: bool
    answer: str


@dataclass(frozen=True)
class Cost:
    """Keys struck, characters the display must print, and seconds at the display's and link's rates."""

    keystrokes: int
    printed: int
    seconds: float


@dataclass(frozen=True)
class Plan:
    lines: tuple[Line, ...]
    cost: Cost


def next_line(
    machine: Machine,
    segment: Segment,
    at: int,
    *,
    continued: bool = False,
    limit: int | None = None,
    layout: Layout = "dense",
) -> Line:
    """The line that deposits `segment` from address `at` on.

    continued: the monitor stands at `at` already. limit: at most so many characters, where the
    dialect's own limit is not lower. RefusedError when not one byte fits.
    """
    dialect = machine.dialect
    readable = layout == "screen"
    words = speech.byte_words(dialect, readable)
    more = speech.more_head(dialect) if continued and not readable else None
    before, after = more or speech.deposit_head(dialect, at, readable)
    most = min(dialect.line_limit, limit or dialect.line_limit)
    room = most - len(before) - len(after)
    data = segment.data[at - segment.first : at - segment.first + max(room, 0) + 1]
    if readable:
        data = data[: SCREEN_BYTES - at % SCREEN_BYTES]
    gap = len(dialect.separator)
    taken, used = [], -gap
    for value in data:
        used += gap + len(words[value])
        if used > room:
            break
        taken.append(words[value])
    if not taken:
        raise RefusedError(
            f"not one byte at {hex4(at)} fits the machine's line of {dialect.line_limit} characters",
            "Check line_limit and deposit in the machine's [dialect]",
        )
    text = before + dialect.separator.join(taken) + after
    answer = speech.more_answer(dialect) if more else speech.deposit_answer(dialect, at)
    last = at + len(taken) - 1
    return Line(text, len(before), Range(at, last), bytes(data[: len(taken)]), more is not None, answer)


def lines(machine: Machine, image: Image, layout: Layout = "dense") -> Iterator[Line]:
    """Every line for `image`, in order, when nothing goes wrong."""
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            line = next_line(machine, segment, at, continued=at > segment.first, layout=layout)
            yield line
            at = line.range.last + 1


def make(machine: Machine, image: Image, layout: Layout = "dense") -> Plan:
    """The whole plan. RefusedError where a line cannot be made."""
    planned = tuple(lines(machine, image, layout))
    keystrokes = sum(len(line.text) + 1 for line in planned)
    printed = sum(len(line.text) + len(line.answer) for line in planned)
    return Plan(planned, Cost(keystrokes, printed, seconds(machine, keystrokes, printed, len(planned))))


def seconds(machine: Machine, keystrokes: int, printed: int, line_count: int) -> float:
    """How long so much typing takes at best: the slower of display and link, or a timed link's delays."""
    link_s = keystrokes / characters_per_second(machine.link)
    if machine.link.pacing == "timed":
        key_s, line_s = timed_delays(machine)
        return max(link_s, keystrokes * key_s) + line_count * line_s
    return max(link_s, printed / machine.screen.rate_cps)


def timed_delays(machine: Machine) -> tuple[float, float]:
    """Delay after each key and after each end key for a one-way link, in seconds.

    Where the profile gives none: one and a half display periods a key, and for a line the time its
    answer takes to print at the same pace plus 0.1 s (common practice: leave a margin of half).
    """
    period = 1.5 / machine.screen.rate_cps
    key_s = machine.link.key_delay_s or period
    answer = max(len(speech.deposit_answer(machine.dialect, 0)), len(speech.more_answer(machine.dialect)))
    return key_s, machine.link.line_delay_s or answer * period + 0.1


def read_cost(machine: Machine, image: Image, block: int) -> Cost:
    """What it costs to read `image` back, `block` bytes an examine line at most."""
    keystrokes = printed = count = 0
    for wanted in blocks(image, block):
        typed = len(speech.examine_line(machine.dialect, wanted)) + 1
        keystrokes += typed
        printed += typed - 1 + len(speech.examine_answer(machine.dialect, wanted))
        count += 1
    return Cost(keystrokes, printed, seconds(machine, keystrokes, printed, count))


def blocks(image: Image, block: int) -> Iterator[Range]:
    """The stretches of `image` in pieces that end at multiples of `block` (a power of two)."""
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            last = min(at | (block - 1), segment.last)
            yield Range(at, last)
            at = last + 1
