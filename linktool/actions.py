"""The vocabulary of a conversation: what it asks the driver to do, and what it is told.

A conversation is a generator. It yields an action and gets an event back:

    event = yield Send(b"A")     -> Sent(at)
    event = yield Wait(0.5)      -> Received(data, at) as soon as anything came,
                                    TimeUp(at) when nothing did, Cancelled(at) or Lost(reason, at)
    event = yield Note(...)      -> Noted(at)

`at` is the port's clock in seconds. Cancelled is given once, at a Wait; after it the generator may
go on talking, to leave the machine at its prompt. After Lost nothing more can be sent.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any, TypeAlias, TypeVar


@dataclass(frozen=True)
class Send:
    """Put these bytes on the wire, at once."""

    data: bytes


@dataclass(frozen=True)
class Wait:
    """Wait for bytes, at most `seconds` (0 only looks)."""

    seconds: float


@dataclass(frozen=True)
class Note:
    """Something to show or record: `topic` names it, `facts` are plain values."""

    topic: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Sent:
    at: float


@dataclass(frozen=True)
class Received:
    data: bytes
    at: float


@dataclass(frozen=True)
class TimeUp:
    at: float


@dataclass(frozen=True)
class Noted:
    at: float


@dataclass(frozen=True)
class Cancelled:
    at: float


@dataclass(frozen=True)
class Lost:
    reason: str
    at: float


Action: TypeAlias = Send | Wait | Note
Event: TypeAlias = Sent | Received | TimeUp | Noted | Cancelled | Lost

R = TypeVar("R")
Talk: TypeAlias = Generator[Action, Event, R]
"""A conversation, or a part of one, that ends with a value of type R."""
