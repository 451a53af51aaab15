"""What the driver does with each action, as dialogues on a port with a virtual clock."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from linktool.actions import Cancelled, Event, Lost, Note, Noted, Received, Send, Sent, Talk, TimeUp, Wait
from linktool.driver import drive
from linktool.errors import PortLost
from linktool.exchange import ACTIONS_AFTER_LOST, STOPPED_AT_ONCE
from linktool.trace import Entry


class Dialogue:
    """A port on a virtual clock: `arriving` says what comes when; `gone_at` when it is pulled out."""

    def __init__(self, *arriving: tuple[float, bytes], gone_at: float = 1e9) -> None:
        self.name = "dialogue"
        self.clock = 0.0
        self.arriving = list(arriving)
        self.gone_at = gone_at
        self.sent: list[tuple[float, bytes]] = []

    def now(self) -> float:
        return self.clock

    def write(self, data: bytes) -> None:
        if self.clock >= self.gone_at:
            raise PortLost("dialogue is gone", "See the cable")
        self.sent.append((self.clock, data))

    def read(self, until: float) -> bytes:
        if self.arriving and self.arriving[0][0] <= max(until, self.clock):
            at, data = self.arriving.pop(0)
            self.clock = max(self.clock, at)
            return data
        self.clock = max(self.clock, min(until, self.gone_at))
        if self.clock >= self.gone_at:
            raise PortLost("dialogue is gone", "See the cable")
        return b""

    def close(self) -> None:
        pass


def heard(*actions: Send | Wait | Note) -> Talk[list[Event]]:
    """A conversation that does these things and ends with what it was told."""
    events = []
    for action in actions:
        events.append((yield action))
    return events


def test_a_key_goes_out_and_its_echo_comes_in() -> None:
    port = Dialogue((0.05, b"A"))
    assert drive(heard(Send(b"A"), Wait(1.0)), port) == [Sent(0.0), Received(b"A", 0.05)]
    assert port.sent == [(0.0, b"A")]


def test_silence_ends_when_the_time_is_up() -> None:
    assert drive(heard(Wait(0.3), Wait(0.2)), Dialogue()) == [
        TimeUp(pytest.approx(0.3)),
        TimeUp(pytest.approx(0.5)),
    ]


def test_a_wait_of_nothing_only_looks() -> None:
    port = Dialogue((0.0, b"="))
    assert drive(heard(Wait(0), Wait(0), Wait(-1), Wait(float("nan"))), port) == [
        Received(b"=", 0.0),
        TimeUp(0.0),
        TimeUp(0.0),
        TimeUp(0.0),
    ]


def test_notes_go_to_the_watcher_with_their_time() -> None:
    told: list[tuple[Note, float]] = []
    events = drive(
        heard(Wait(0.25), Note("line", {"number": 3})),
        Dialogue(),
        notes=lambda note, at: told.append((note, at)),
    )
    assert events[1] == Noted(0.25)
    assert told == [(Note("line", {"number": 3}), 0.25)]


def test_the_first_wish_to_stop_is_told_once_and_the_talk_goes_on() -> None:
    port = Dialogue((0.2, b"?"))
    asked = [0, 0, 1]

    def stop() -> int:
        return asked.pop(0) if len(asked) > 1 else asked[0]

    events = drive(heard(Wait(5.0), Send(b"\x1b"), Wait(5.0), Wait(0.1)), port, stop=stop)
    assert events == [
        Cancelled(pytest.approx(0.1)),
        Sent(pytest.approx(0.1)),
        Received(b"?", 0.2),
        TimeUp(pytest.approx(0.3)),
    ]


def test_a_wish_to_stop_is_told_at_a_wait_not_at_a_key() -> None:
    port = Dialogue()
    events = drive(heard(Send(b"A"), Note("x"), Wait(1)), port, stop=lambda: 1)
    assert events == [Sent(0.0), Noted(0.0), Cancelled(0.0)]


def test_a_long_wait_looks_at_the_wish_to_stop_twenty_times_a_second() -> None:
    looks = 0

    def stop() -> int:
        nonlocal looks
        looks += 1
        return 0

    drive(heard(Wait(10.0)), Dialogue(), stop=stop)
    assert looks >= 200


@pytest.mark.parametrize("action", [Send(b"A"), Wait(1.0)])
def test_the_second_wish_cuts_the_link_off(action: Send | Wait) -> None:
    port = Dialogue()
    events = drive(heard(action, Send(b"B"), Wait(3.0), Note("end")), port, stop=lambda: 2)
    assert events == [Lost(STOPPED_AT_ONCE, 0.0)] * 3 + [Noted(0.0)]
    assert port.sent == []


def test_a_cable_pulled_while_waiting_is_lost_and_stays_lost() -> None:
    port = Dialogue((0.1, b"0280: "), gone_at=0.4)
    events = drive(heard(Wait(1), Wait(1), Send(b"A"), Wait(1)), port)
    lost = Lost("dialogue is gone. See the cable", 0.4)
    assert events == [Received(b"0280: ", 0.1), lost, lost, lost]
    assert port.sent == []


def test_a_cable_pulled_while_sending_is_lost() -> None:
    port = Dialogue(gone_at=0.0)
    assert drive(heard(Send(b"A")), port) == [Lost("dialogue is gone. See the cable", 0.0)]


def test_a_conversation_that_will_not_end_after_lost_is_our_own_mistake() -> None:
    turns = 0

    def endless() -> Iterator[Send]:
        nonlocal turns
        while True:
            turns += 1
            yield Send(b"A")

    with pytest.raises(RuntimeError, match="goes on though it was told: dialogue is gone"):
        drive(endless(), Dialogue(gone_at=0.0))  # type: ignore[arg-type]
    assert turns == ACTIONS_AFTER_LOST + 2


def test_what_the_conversation_raises_passes_through_and_it_is_closed() -> None:
    closed = []

    def failing() -> Talk[None]:
        try:
            yield Wait(0)
            raise ZeroDivisionError("inside")
        finally:
            closed.append(True)

    with pytest.raises(ZeroDivisionError, match="inside"):
        drive(failing(), Dialogue())
    assert closed == [True]


def test_what_the_watcher_raises_closes_the_conversation() -> None:
    closed = []

    def job() -> Talk[None]:
        try:
            yield Note("x")
        finally:
            closed.append(True)

    def watcher(note: Note, at: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        drive(job(), Dialogue(), notes=watcher)
    assert closed == [True]


def test_what_is_no_action_is_refused_by_name() -> None:
    def odd() -> Talk[None]:
        yield "0280"  # type: ignore[misc]

    with pytest.raises(TypeError, match="'0280'"):
        drive(odd(), Dialogue())


def test_a_clock_that_stands_still_does_not_hang_the_driver() -> None:
    class Still(Dialogue):
        def read(self, until: float) -> bytes:
            return b""

    with pytest.raises(RuntimeError, match="the clock of the port dialogue stands still"):
        drive(heard(Wait(1)), Still())


def test_everything_that_passes_is_traced_in_order() -> None:
    seen: list[Entry] = []
    port = Dialogue((0.25, b"A"), gone_at=0.5)
    drive(heard(Send(b"A"), Wait(1), Note("echo", {"good": 1}), Wait(1)), port, trace=seen.append)
    assert seen == [
        Entry(0.0, "out", b"A"),
        Entry(0.25, "in", b"A"),
        Entry(0.25, "note", facts={"topic": "echo", "facts": {"good": 1}}),
        Entry(0.5, "lost", facts={"reason": "dialogue is gone. See the cable"}),
    ]


def test_wishes_to_stop_are_traced_once_each() -> None:
    seen: list[Entry] = []
    asked = iter([0, 1, 1, 2])
    drive(heard(Wait(1), Wait(0.04), Wait(1)), Dialogue(), stop=lambda: next(asked), trace=seen.append)
    assert [(entry.event, entry.facts) for entry in seen] == [
        ("stop", {"asked": 1}),
        ("stop", {"asked": 2}),
        ("lost", {"reason": STOPPED_AT_ONCE}),
    ]
