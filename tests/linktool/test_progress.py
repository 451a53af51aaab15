"""The status line: what it says in how much room, and what it writes to which terminal."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.actions import Note
from linktool.conversation import Conversation
from linktool.machine import load
from linktool.render.progress import Progress, Status, clock, status_line
from linktool.render.vt import colourful, moves_cursor

HERON = load("heron")
FULL = Status("enter", 512, 4096, "byte", 1637, 57.6, 60.0, 212.0, 2, 1)


class Tty(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_wide_terminal_is_told_everything():
    assert status_line(FULL, 130) == (
        "enter  [##------------------]  512/4,096 bytes  1,637 keys  58 of 60/s  3 min 30 s left  2 mended"
        "  1 typed again"
    )


def test_sixty_columns_have_room_for_what_matters():
    line = status_line(FULL, 59)
    assert len(line) <= 59
    assert "512/4,096 bytes" in line and "3 min 30 s left" in line


@given(
    done=st.integers(0, 65536),
    total=st.integers(0, 65536),
    width=st.integers(1, 140),
    left=st.floats(0, 1e5),
    count=st.integers(0, 10**6),
)
def test_the_line_always_fits(done, total, width, left, count):
    status = Status("enter", min(done, total), total, "byte", count, left, 60.0, left, count, count)
    assert len(status_line(status, width)) <= width


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0.2, "1 s"), (59.4, "59 s"), (212.0, "3 min 30 s"), (599.0, "9 min 50 s"), (1500.0, "25 min")],
)
def test_time_left_is_as_rough_as_it_is_known(seconds, shown):
    assert clock(seconds) == shown


class Scene:
    """A talk whose counts are set by hand, and a progress that watches it."""

    def __init__(self, err: io.StringIO) -> None:
        self.talk = Conversation(HERON)
        self.out, self.err, self.now = io.StringIO(), err, 0.0
        self.progress = Progress(lambda: self.talk, self.out, err, lambda: self.now)

    def note(self, at: float, topic: str, **facts: object) -> None:
        self.now = at
        self.progress.watch(Note(topic, dict(facts)), at)

    def line(self) -> str:
        return self.err.getvalue()


@pytest.fixture
def terminal(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.delenv("NO_COLOR", raising=False)
    return Scene(Tty())


def test_rate_and_time_left_are_measured_from_the_first_note(terminal):
    terminal.note(100.0, "progress", phase="enter", done=40, total=400)
    terminal.talk.counts.printed, terminal.talk.counts.keystrokes = 540, 530
    terminal.note(109.0, "progress", phase="enter", done=220, total=400)
    # By hand: 180 bytes in 9 s, so 180 more take 9 s; 540 characters in 9 s are 60 a second.
    assert "220/400 bytes  530 keys  60 of 60/s  9 s left" in terminal.line()


def test_characters_between_notes_move_it_on(terminal):
    terminal.note(0.0, "progress", phase="check", done=0, total=512)
    terminal.talk.counts.printed = 420
    terminal.now = 7.0
    terminal.progress.tick(7.0)
    # No note has told how many characters a byte takes yet: 4.2 is taken, for rows of eight with addresses.
    assert "100/512 bytes" in terminal.line()
    terminal.note(8.0, "progress", phase="check", done=256, total=512)
    assert "256/512 bytes" in terminal.line()


def test_the_line_is_taken_away_at_the_end_and_never_scrolls(terminal):
    for at in range(10):
        terminal.note(float(at), "progress", phase="enter", done=40 * at, total=400)
    terminal.note(10.0, "end")
    written = terminal.line()
    assert written.count("\n") == 1, "drawn once, then over itself"
    assert written.endswith("\x1b[1A\r\x1b[J")


def test_keys_without_an_echo_are_measured_against_the_adapter(terminal):
    terminal.note(0.0, "progress", phase="enter", done=0, total=2048)
    terminal.talk.counts.printed, terminal.talk.counts.keystrokes = 12, 2000
    terminal.note(10.0, "progress", phase="enter", done=1024, total=2048)
    # By hand: 2,000 keys in 10 s; 2400 baud with 10 bits a character are 240 a second.
    assert "200 of 240/s" in terminal.line()


def test_putting_the_routines_there_is_said(terminal):
    terminal.note(0.0, "putting")
    assert "putting the routines into the machine" in terminal.line()


def test_a_wish_to_stop_is_heard_while_the_machine_still_answers(terminal):
    terminal.note(0.0, "progress", phase="check", done=8, total=400)
    terminal.note(1.0, "stopping")
    terminal.now = 5.0
    terminal.progress.tick(5.0)
    assert terminal.line().endswith("stopping at a safe point; Ctrl-C again stops at once\x1b[K\x1b8")


def test_it_is_drawn_four_times_a_second_at_most(terminal):
    for tick in range(1000):
        terminal.note(tick / 1000, "progress", phase="enter", done=tick, total=5000)
    assert terminal.line().count("enter") <= 5


def test_output_of_the_machine_begins_on_a_line_of_its_own_and_ends_with_one(terminal):
    terminal.note(0.0, "progress", phase="enter", done=1, total=9)
    terminal.note(1.0, "output", text="HELLO\x1b[2J\r=")
    terminal.note(2.0, "end")
    assert terminal.out.getvalue() == "HELLO.[2J\n=\n"


def test_a_terminal_that_cannot_move_its_cursor_gets_a_line_now_and_then(monkeypatch):
    monkeypatch.setenv("TERM", "dumb")
    scene = Scene(Tty())
    for at in range(60):
        scene.note(float(at), "progress", phase="enter", done=at, total=100)
    assert "\x1b" not in scene.line() and "\r" not in scene.line()
    assert scene.line().count("\n") == 6


def test_nothing_is_written_where_there_is_no_terminal():
    scene = Scene(io.StringIO())
    scene.note(0.0, "wake")
    scene.note(0.0, "progress", phase="enter", done=1, total=9)
    scene.progress.tick(5.0)
    scene.note(9.0, "end")
    assert scene.line() == ""


def test_colour_and_cursor_by_the_settings():
    # NO_COLOR set and not empty means no colour (no-color.org); TERM=dumb means neither.
    assert colourful(Tty(), {"TERM": "xterm"}) and moves_cursor(Tty(), {"TERM": "xterm"})
    assert not colourful(Tty(), {"TERM": "xterm", "NO_COLOR": "1"})
    assert moves_cursor(Tty(), {"TERM": "xterm", "NO_COLOR": "1"})
    assert colourful(Tty(), {"TERM": "xterm", "NO_COLOR": ""})
    assert not colourful(Tty(), {"TERM": "dumb"}) and not moves_cursor(Tty(), {"TERM": "dumb"})
    assert not colourful(io.StringIO(), {"TERM": "xterm"})
