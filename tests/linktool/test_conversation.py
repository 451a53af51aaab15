"""The talk at the bench: what is typed, what is answered, and what becomes of faults."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.actions import Cancelled, Lost, Received, Send, Sent, Talk, TimeUp, Wait
from linktool.conversation import IN_VAIN, Conversation, Gone, Stopped
from linktool.driver import drive
from linktool.jobs.enter import enter
from linktool.pacing import Pacing
from linktool.plan import make
from tests.linktool.fake_monitor import FakeMonitor
from tests.linktool.images import images

HERON = profiles.load("heron")
QUICK = Pacing(window=2, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03)
SMALL = Image.from_bytes(0x0280, bytes.fromhex("A9008D02 9F4C00FA"))


def talk_to(monitor: FakeMonitor, job: Callable[[Conversation], Talk[object]]) -> object:
    """Run one talk on a monitor, with a pacing that is known."""
    talk = Conversation(HERON, QUICK)
    talk.calibrated = True
    return drive(job(talk), monitor)


def replay(talk: Talk[object], script: list[tuple[str, str]]) -> object:
    """Play the machine's part by hand: ("keys", what must be sent next) or ("says", what comes).
    Keys may be sent one by one; time passes only where nothing else is left."""
    at, event = 0.0, None
    queue = list(script)
    try:
        action = talk.send(None)  # type: ignore[arg-type]
        while True:
            if isinstance(action, Send):
                kind, expected = queue[0]
                sent = action.data.decode("ascii")
                assert kind == "keys" and expected.startswith(sent), f"sent {sent!r}, expected {queue[0]}"
                queue[0] = (kind, expected[len(sent) :])
                if not queue[0][1]:
                    queue.pop(0)
                event = Sent(at)
            elif isinstance(action, Wait):
                if queue and queue[0][0] == "says":
                    event = Received(queue.pop(0)[1].encode("ascii"), at)
                elif queue and queue[0][0] == "stop":
                    queue.pop(0)
                    event = Cancelled(at)
                elif queue and queue[0][0] == "lost":
                    event = Lost(queue.pop(0)[1], at)
                else:
                    at += action.seconds
                    event = TimeUp(at)
            else:
                event = Sent(at)
            action = talk.send(event)
    except StopIteration as end:
        assert not queue, f"left unsaid: {queue}"
        return end.value


def test_a_line_is_committed_only_after_its_whole_echo():
    talk = Conversation(HERON, Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03))
    answer = replay(
        talk.line("280:A9", "\r="),
        [
            ("keys", "2"), ("says", "2"), ("keys", "8"), ("says", "8"), ("keys", "0"), ("says", "0"),
            ("keys", ":"), ("says", ":"), ("keys", "A"), ("says", "A"), ("keys", "9"), ("says", "9"),
            ("keys", "\r"), ("says", "\r="),
        ],
    )  # fmt: skip
    assert answer == "\r="


def test_a_lost_last_key_cancels_the_line():
    talk = Conversation(HERON, Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03))
    answer = replay(
        talk.line("28", "\r="),
        [("keys", "2"), ("says", "2"), ("keys", "8"), ("keys", "\x1b"), ("says", "?\r=")],
    )
    assert answer is None
    assert talk.counts.retyped == 1


def test_a_changed_echo_is_rubbed_out_where_the_count_proves_the_place():
    talk = Conversation(HERON, Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03))
    answer = replay(
        talk.line("28", "\r="),
        [
            ("keys", "2"), ("says", "7"), ("keys", "_"), ("says", "_"),
            ("keys", "2"), ("says", "2"), ("keys", "8"), ("says", "8"), ("keys", "\r"), ("says", "\r="),
        ],
    )  # fmt: skip
    assert answer == "\r="
    assert talk.counts.repaired == 1


def test_a_key_or_echo_missing_in_a_byte_is_mended_so_that_either_will_do():
    talk = Conversation(HERON, Pacing(window=2, period_s=0, round_trip_s=0.02, slack_s=0.03))
    talk.inbox = ""
    # "8" of the second byte is missing from the echo: rub back into "A9", then 0A9 follows A or nothing.
    answer = replay(
        talk.line("280:12 A9 8D", "\r=", bytes_at=4),
        [
            ("keys", "28"), ("says", "28"), ("keys", "0:"), ("says", "0:"), ("keys", "12"), ("says", "12"),
            ("keys", " A"), ("says", " A"), ("keys", "9 "), ("says", "9 "), ("keys", "8D"), ("says", "D"),
            ("keys", "__"), ("says", "__"), ("keys", "__"), ("says", "__"),
            ("keys", "0A"), ("says", "0A"), ("keys", "9 "), ("says", "9 "), ("keys", "8D"), ("says", "8D"),
            ("keys", "\r"), ("says", "\r="),
        ],
    )  # fmt: skip
    assert answer == "\r="


def test_a_late_echo_is_waited_for_and_makes_patience():
    talk = Conversation(HERON, Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03))

    def job() -> Talk[str | None]:
        return (yield from talk.line("2:1", "\r="))

    monitor = FakeMonitor(latency_s=0.055)
    assert drive(job(), monitor) == "\r="
    assert talk.counts.wrong == 0
    assert talk.pacing.slack_s > 0.03


@pytest.mark.parametrize("late_s", [0.1, 0.3, 0.8])
def test_a_machine_that_answers_late_is_still_brought_to_its_prompt(late_s):
    talk = Conversation(HERON, QUICK)
    monitor = FakeMonitor(latency_s=late_s / 2)
    drive(talk.leave_line(), monitor)
    assert monitor.keys.endswith("\x1b") and talk.inbox == ""


def test_stopping_in_mid_line_raises_once_and_the_line_can_be_cancelled():
    talk = Conversation(HERON, QUICK)

    def job() -> Talk[str]:
        try:
            yield from talk.line("280:A9", "\r=")
        except Stopped:
            yield from talk.leave_line()
            return "left"
        return "not stopped"

    script = [("keys", "2"), ("says", "2"), ("keys", "8"), ("stop", ""), ("keys", "\x1b"), ("says", "?\r=")]
    talk.pacing = Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03)
    assert replay(job(), script) == "left"


def test_a_port_that_goes_away_raises_gone():
    talk = Conversation(HERON, Pacing(window=1, period_s=1 / 60, round_trip_s=0.02, slack_s=0.03))

    def job() -> Talk[str]:
        try:
            yield from talk.line("280:A9", "\r=")
        except Gone as gone:
            return str(gone)
        return ""

    assert replay(job(), [("keys", "2"), ("lost", "pulled")]) == "pulled"


def test_the_first_key_of_the_next_line_waits_while_the_answer_prints():
    monitor = FakeMonitor(latency_s=0.016)

    def job(talk: Conversation) -> Talk[float]:
        talk.pacing = Pacing(window=4, period_s=1 / 60, round_trip_s=0.0403, slack_s=0.03)
        plan = make(HERON, Image.from_bytes(0x0300, bytes([0xEE]) * 200))
        began = talk.now
        for line, following in zip(plan.lines, [*plan.lines[1:], None], strict=True):
            answer = yield from talk.line(line.text, line.answer, following.text if following else "")
            assert answer is not None
        return plan.cost.printed / 60 / (talk.now - began)

    rate = talk_to(monitor, job)
    assert monitor.overruns == 0
    assert isinstance(rate, float) and rate > 0.97


def test_examine_reads_across_rows():
    monitor = FakeMonitor()
    monitor.memory = {0x0283 + n: n for n in range(20)}
    reading = talk_to(monitor, lambda talk: talk.examine(Range(0x0283, 0x0296)))
    assert reading.image == Image.from_bytes(0x0283, bytes(range(20)))  # type: ignore[attr-defined]


# ---- one fault at any place ------------------------------------------------------------------

KEY_FAULTS = {
    "lost": lambda key: "",
    "doubled": lambda key: key + key,
    "another digit": lambda key: "7" if key != "7" else "E",
    "a blank": lambda key: " " if key != " " else "0",
    "a colon": lambda key: ":" if key != ":" else "1",
    "the rubout": lambda key: "_",
    "the cancel key": lambda key: "\x1b",
}


def enter_with(monitor: FakeMonitor) -> tuple[bool, set[tuple[int, int]]]:
    """Enter the small image; whether it was proven, and what was ever deposited that is not in it."""
    report = talk_to(monitor, lambda talk: enter(talk, SMALL, "fake:"))
    return report.ok, set(monitor.deposited) - set(SMALL.cells())  # type: ignore[attr-defined]


@pytest.mark.parametrize("fault", KEY_FAULTS)
def test_no_single_key_fault_ever_reaches_memory(fault):
    for place in range(1, 40):
        monitor = FakeMonitor(key_fault=lambda n, key, p=place: KEY_FAULTS[fault](key) if n == p else key)
        proven, strays = enter_with(monitor)
        assert proven and not strays, f"key {place} {fault}: {strays}"
        assert SMALL.difference(Image.from_cells(monitor.memory.items())) == ()


@pytest.mark.parametrize("fault", KEY_FAULTS)
def test_no_single_print_fault_ever_reaches_memory(fault):
    for place in range(1, 90):
        monitor = FakeMonitor(print_fault=lambda n, c, p=place: KEY_FAULTS[fault](c) if n == p else c)
        proven, strays = enter_with(monitor)
        assert proven and not strays, f"character {place} {fault}: {strays}"


@settings(max_examples=40, deadline=None)
@given(images(longest=60), st.integers(), st.floats(0, 0.03), st.floats(0, 0.02))
def test_what_is_called_proven_is_in_memory(image, seed, keys_lost, prints_changed):
    draw = random.Random(seed)
    monitor = FakeMonitor(
        key_fault=lambda n, key: "" if draw.random() < keys_lost else key,
        print_fault=lambda n, c: chr(draw.randrange(32, 96)) if draw.random() < prints_changed else c,
    )
    talk = Conversation(HERON)
    report = drive(enter(talk, image, "fake:"), monitor)
    for part in report.proven:
        for address in range(part.first, part.last + 1):
            assert monitor.memory[address] == image.get(address)
    assert report.ok, report.lost


def test_a_silent_machine_is_said_to_be_silent():
    class Silent(FakeMonitor):
        def _take(self, key: str) -> str:
            return ""

    report = drive(enter(Conversation(HERON), SMALL, "fake:"), Silent())
    assert report.exit_status == 3
    assert "silent" in report.lost


def test_a_machine_that_keeps_printing_is_said_to_run_a_program():
    class Chatter(FakeMonitor):
        def read(self, until: float) -> bytes:
            self._now = min(until, self._now + 0.02)
            return b"GARBAGE "

    report = drive(enter(Conversation(HERON), SMALL, "fake:"), Chatter())
    assert report.exit_status == 3
    assert "keeps printing" in report.lost and "press the machine's reset key" in report.lost
    assert "look at the memory the monitor itself needs (" in report.lost and "0100-01FF" in report.lost


def test_a_machine_that_speaks_otherwise_is_said_to():
    class Other(FakeMonitor):
        def _take(self, key: str) -> str:
            return key.lower() if key.isalpha() else "\\\r"

    report = drive(enter(Conversation(HERON), SMALL, "fake:"), Other())
    assert report.exit_status == 3
    assert "not as machine heron does" in report.lost


# ---- a pace that was measured too fast -----------------------------------------------------------


def test_a_pace_that_never_gets_a_line_through_is_slowed_down():
    too_fast = Pacing(window=12, period_s=1 / 150, round_trip_s=0.2, slack_s=0.1)
    monitor = FakeMonitor(latency_s=0.1)
    talk = Conversation(HERON, too_fast)
    talk.calibrated = True
    image = Image.from_bytes(0x0300, bytes(range(256)) * 2)
    report = drive(enter(talk, image, "fake:"), monitor)
    assert report.ok, report.lost
    assert monitor.overruns > 0
    assert IN_VAIN <= report.effort.lines_retyped < 60
    assert talk.pacing.window < 12
