"""Recordings played back: the same talk passes, any other is shown beside what was recorded."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from linktool.actions import Cancelled, Event, Lost, Received, Send, Sent, Talk, TimeUp, Wait
from linktool.driver import drive
from linktool.errors import PortLost
from linktool.replay_port import ReplayMismatch, ReplayPort
from linktool.trace import Entry, TraceFile, parse_trace, read_trace
from tests.linktool.test_exchange import Dialogue, heard

BY_HAND = rb"""
{"at": 0.0, "event": "open", "port": "/dev/ttyUSB0"}
{"at": 0.1, "event": "out", "text": "0280"}
{"at": 0.2, "event": "in",  "text": "0280"}
{"at": 0.3, "event": "note", "topic": "proven", "facts": {}}
{"at": 0.3, "event": "out", "text": "\r"}
{"at": 0.4, "event": "in",  "text": "\r0280:"}
{"at": 0.5, "event": "in",  "text": " A9\r="}
"""


def by_hand() -> ReplayPort:
    (recording,) = parse_trace(BY_HAND, "by hand")
    return ReplayPort(recording)


def typed(keys: bytes) -> Talk[list[Event]]:
    return heard(Wait(0.1), Send(keys), Wait(1.0), Wait(0.1), Send(b"\r"), Wait(1.0), Wait(1.0))


def test_the_same_talk_gets_its_answers_at_their_times() -> None:
    port = by_hand()
    assert drive(typed(b"0280"), port) == [
        TimeUp(pytest.approx(0.1)),
        Sent(pytest.approx(0.1)),
        Received(b"0280", pytest.approx(0.2)),
        TimeUp(pytest.approx(0.3)),
        Sent(pytest.approx(0.3)),
        Received(b"\r0280:", pytest.approx(0.4)),
        Received(b" A9\r=", pytest.approx(0.5)),
    ]
    port.finish()


def test_how_keys_are_cut_into_writes_does_not_matter() -> None:
    port = by_hand()
    for key in b"0280":
        port.write(bytes([key]))
    assert port.read(1.0) == b"0280"
    port.write(b"\r")
    assert port.read(5.0) == b"\r0280:"
    assert port.read(5.0) == b" A9\r="
    port.finish()


def test_answers_come_as_long_after_the_keys_as_they_did() -> None:
    port = by_hand()
    assert port.read(7.0) == b""
    port.write(b"0280")
    assert port.read(9.0) == b"0280"
    assert port.now() == pytest.approx(7.1)


def test_answers_that_have_come_wait_together_until_they_are_read() -> None:
    port = ReplayPort([Entry(0.1, "in", b"A"), Entry(0.2, "in", b"B"), Entry(0.3, "out", b"C")])
    assert port.read(0.0) == b""
    port._now = 0.3
    port.write(b"C")
    assert port.read(0.0) == b"AB"


def test_other_keys_are_shown_one_above_the_other() -> None:
    port = by_hand()
    port.write(b"02")
    with pytest.raises(ReplayMismatch) as mismatch:
        port.write(b"90\r")
    assert str(mismatch.value).splitlines()[1:] == [
        "  recorded  0280",
        "  sent      0290\\r",
        "              ^",
    ]


def test_the_mark_stands_right_behind_control_codes_too() -> None:
    port = ReplayPort([Entry(0, "out", b"\x1b\r"), Entry(0, "out", b"0280")])
    with pytest.raises(ReplayMismatch) as mismatch:
        port.write(b"\x1b\r0300")
    _, recorded, sent, mark = str(mismatch.value).splitlines()
    assert recorded == "  recorded  \\x1b\\r0280"
    assert sent == "  sent      \\x1b\\r0300"
    assert mark.index("^") == recorded.index("280") == sent.index("300")


def test_a_key_before_the_answer_that_came_first_is_a_mismatch() -> None:
    port = by_hand()
    port.write(b"0280")
    with pytest.raises(ReplayMismatch, match=r'sends "\\r", but in the recording "0280" comes first'):
        port.write(b"\r")


def test_keys_after_the_end_are_a_mismatch() -> None:
    with pytest.raises(ReplayMismatch, match=r'the recording has ended, but the host sends "A"'):
        ReplayPort([]).write(b"A")


def test_what_was_left_out_is_told_at_the_end() -> None:
    port = by_hand()
    with pytest.raises(ReplayMismatch, match='did not send "0280"'):
        port.finish()
    port.write(b"02")
    with pytest.raises(ReplayMismatch, match='did not send "80"'):
        port.finish()
    port.write(b"80")
    with pytest.raises(ReplayMismatch, match='did not wait for "0280"'):
        port.finish()
    port = ReplayPort([Entry(0.0, "in", b"A")])
    assert port.stops()() == 0
    with pytest.raises(ReplayMismatch, match='did not read "A"'):
        port.finish()
    with pytest.raises(ReplayMismatch, match="did not wait for the end of the link"):
        ReplayPort([Entry(1.0, "lost", facts={"reason": "x"})]).finish()


@pytest.mark.parametrize("action", [Wait(1.0), Send(b"A")])
def test_a_lost_link_is_lost_again(action: Wait | Send) -> None:
    port = ReplayPort([Entry(0.5, "lost", facts={"reason": "the adapter was unplugged"})])
    events = drive(heard(action), port)
    assert isinstance(events[0], Lost) and events[0].reason == "the adapter was unplugged"
    port.finish()
    with pytest.raises(PortLost):
        ReplayPort([Entry(0.0, "lost")]).read(1.0)


def test_a_session_that_was_stopped_stops_again(tmp_path: Path) -> None:
    def job() -> Talk[list[Event]]:
        return heard(Send(b"02"), Wait(5.0), Wait(5.0), Send(b"\x1b"), Wait(5.0), Wait(5.0))

    dialogue = Dialogue((0.1, b"02"), (0.9, b"?"))
    with TraceFile(tmp_path / "t", "dialogue", dialogue.now()) as trace:
        was = drive(
            job(), dialogue, stop=lambda: (dialogue.now() > 0.4) + (dialogue.now() > 2.0), trace=trace
        )
    assert [type(event) for event in was] == [Sent, Received, Cancelled, Sent, Received, Lost]
    (recording,) = read_trace(tmp_path / "t")
    port = ReplayPort(recording)
    again = drive(job(), port, stop=port.stops())
    assert [type(event) for event in again] == [type(event) for event in was]
    assert [event.at for event in again] == pytest.approx([event.at for event in was])
    port.finish()


def test_a_stop_ends_one_drive_and_not_the_next() -> None:
    port = ReplayPort([Entry(0.2, "stop", facts={"asked": 1}), Entry(0.5, "stop", facts={"asked": 1})])
    assert drive(heard(Wait(0.3)), port, stop=port.stops()) == [Cancelled(pytest.approx(0.2))]
    assert drive(heard(Wait(0.2)), port, stop=port.stops()) == [TimeUp(pytest.approx(0.4))]
    assert drive(heard(Wait(0.2)), port, stop=port.stops()) == [Cancelled(pytest.approx(0.5))]
    port.finish()


class Talker(Dialogue):
    """Echoes each key some time later, as a slow display does, never two at once."""

    def write(self, data: bytes) -> None:
        super().write(data)
        last = self.arriving[-1][0] if self.arriving else self.clock
        for key in data:
            last = max(last, self.clock + 0.016) + 1 / 60
            self.arriving.append((last, bytes([key])))


def windowed(text: bytes, rng: random.Random) -> Talk[float]:
    """Types with up to three keys under way, at times that depend on what came when."""
    seen = sent = 0
    at = 0.0
    while seen < len(text):
        if sent < len(text) and sent - seen < 3 and rng.random() < 0.7:
            at = (yield Send(text[sent : sent + 1])).at
            sent += 1
        else:
            event = yield Wait(rng.choice([0.0, 0.01, 1.0]))
            at = event.at
            seen += len(event.data) if isinstance(event, Received) else 0
    return at


@pytest.mark.parametrize("seed", range(5))
def test_a_recorded_talk_replays_to_the_same_times(tmp_path: Path, seed: int) -> None:
    talker = Talker()
    talker.clock = 1234.567
    with TraceFile(tmp_path / "t", "talker", talker.now()) as trace:
        ended = drive(windowed(b"0280: A9 00 8D 02 9F", random.Random(seed)), talker, trace=trace)
    (recording,) = read_trace(tmp_path / "t")
    port = ReplayPort(recording)
    again = drive(windowed(b"0280: A9 00 8D 02 9F", random.Random(seed)), port)
    assert again == pytest.approx(ended - 1234.567, abs=1e-6)
    port.finish()
