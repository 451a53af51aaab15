"""Watch a program that was started: take down what it prints and when, and answer its prompts.

A program that ends in the monitor is known by the monitor's prompt and silence after it. Where the
monitor prints none, the caller may say when a text is complete; else time decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from linktool.actions import Received, Talk, TimeUp, Wait
from linktool.conversation import Conversation

KEPT = 1 << 20
"""Characters of output kept; older ones are dropped."""
STILL_S = 0.75
"""Silence after which a prompt counts as one: longer than any pause of an adapter."""
KEY_GAP_S = 0.1


@dataclass(frozen=True)
class Prompted:
    """Once `after` has come since the last answer, strike `keys`."""

    after: str
    keys: str


@dataclass
class Output:
    """Grows while it is watched. arrivals_s: when each character came, on the port's clock.
    back: the monitor's prompt was seen."""

    text: str = ""
    arrivals_s: tuple[float, ...] = ()
    back: bool = False


def watch(
    talk: Conversation,
    seconds: float,
    output: Output,
    answers: Sequence[Prompted] = (),
    complete: Callable[[str], bool] = lambda text: False,
) -> Talk[None]:
    """Fill `output` for `seconds`, until the program is back at the prompt, or `complete` in silence."""
    waiting, asked = list(answers), 0
    end = talk.now + seconds
    _take(talk, output)
    while talk.now < end:
        if waiting and waiting[0].after in output.text[asked:]:
            asked, end = len(output.text), end + STILL_S
            for key in waiting.pop(0).keys:
                yield from talk.send(key)
                yield from talk.pause(KEY_GAP_S)
            _take(talk, output)
            continue
        event = yield from talk.act(Wait(min(STILL_S, max(0.0, end - talk.now))))
        if isinstance(event, Received):
            yield from talk.note("output", text=talk.inbox)
            _take(talk, output)
        elif isinstance(event, TimeUp) and not waiting and _ended(talk, output, complete):
            break
    output.back = at_prompt(talk, output.text)


def _take(talk: Conversation, output: Output) -> None:
    output.text = (output.text + talk.inbox)[-KEPT:]
    output.arrivals_s = (*output.arrivals_s, *[talk.now] * len(talk.inbox))[-KEPT:]
    talk.inbox = ""


def _ended(talk: Conversation, output: Output, complete: Callable[[str], bool]) -> bool:
    return at_prompt(talk, output.text) or (not talk.dialect.ready and complete(output.text))


def at_prompt(talk: Conversation, text: str) -> bool:
    """Whether the text ends as the monitor's prompt does; never so where it prints none."""
    ready = talk.dialect.ready
    return bool(ready) and text.endswith("\r" + ready)
