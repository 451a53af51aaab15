"""talk: keys paced into the simulated board, what comes shown and kept, floods and rubbish survived."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from linktool.actions import Talk
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import PortLost, UsageError
from linktool.jobs.talk import talk as talk_job
from linktool.machine import load, with_link
from linktool.verbs.talking import talk_with
from tests.linktool.shell_rig import Rig

HERON = load("heron")


class Typed:
    """A keyboard whose keys are known beforehand: each item is what one look finds."""

    def __init__(self, *items: str, live: bool = False) -> None:
        self.live = live
        self.given_back = ""
        self._items = list(items)

    def read(self, seconds: float) -> str | None:
        return self._items.pop(0) if self._items else None

    def unread(self, text: str) -> None:
        self.given_back += text


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path)
    yield rig
    rig.bench.close()


def test_a_pipe_is_typed_no_faster_than_the_machine_takes_it(rig):
    out = io.StringIO()
    report = talk_with(rig.bench, Typed("0300:1 2 3 4 5 6 7 8\n0300-0307\n"), out)
    assert report.ok and report.effort.keystrokes == 31
    assert "0300: 01 02 03 04 05 06 07 08" in out.getvalue()


def test_lower_case_is_typed_as_upper_case(rig):
    out = io.StringIO()
    talk_with(rig.bench, Typed("0300:ab cd\n0300-0301\n"), out)
    assert "0300: AB CD" in out.getvalue()


def test_leaving_gives_back_what_is_not_for_the_machine(rig):
    keys = Typed("0300:1\n\x1dcheck\n")
    report = talk_with(rig.bench, keys, io.StringIO())
    assert keys.given_back == "check\n"
    assert report.effort.keystrokes == 7, "what stood before the leave key was typed"


def test_a_person_is_told_how_to_leave(rig):
    out = Terminal()
    report = talk_with(rig.bench, Typed("A", "", "\x1d", live=True), out)
    assert report.ok and "CTRL-] leaves" in out.getvalue()


def test_all_that_comes_can_be_kept(rig):
    report = talk_with(rig.bench, Typed("0300:41\n0300-0300\n"), io.StringIO(), "kept.txt")
    assert "0300: 41\n" in Path("kept.txt").read_text()
    assert report.saved == "kept.txt"
    assert rig.bench.screen.received >= report.received


def test_a_file_that_cannot_be_written_is_said_before_the_port_is_opened(rig):
    with pytest.raises(UsageError, match="cannot be written"):
        talk_with(rig.bench, Typed("A"), io.StringIO(), "no/such/folder.txt")
    assert rig.bench.port is None


class Flood:
    """A port that gives what it is told to, at once, on a clock that each look moves on."""

    name = "flood:"

    def __init__(self, *pieces: bytes, lost: str = "") -> None:
        self.sent = b""
        self._pieces = list(pieces)
        self._lost, self._now = lost, 0.0

    def now(self) -> float:
        return self._now

    def write(self, data: bytes) -> None:
        self.sent += data

    def read(self, until: float) -> bytes:
        if self._pieces:
            self._now += 0.001
            return self._pieces.pop(0)
        if self._lost:
            raise PortLost(self._lost)
        self._now = max(self._now, until)
        return b""

    def close(self) -> None:
        pass


def shown_of(port: Flood, keys: Typed, out: io.StringIO) -> Talk[object]:
    """Talk over `port`, shown on `out` as the verb does it."""
    from linktool.render.talking import Display

    with Display(out, None, True) as display:
        return drive(talk_job(Conversation(HERON), keys, real_time=True), port, notes=display.watch)


RUBBISH = b"\x1b[2J\x1b]0;title\x07\x9b31m\x1b[6n\x05\x08\x0e\x7f\xff\x80"


def test_escape_sequences_and_control_characters_do_nothing_to_the_terminal():
    out = Terminal()
    shown_of(Flood(RUBBISH * 3), Typed("", "\x1d", live=True), out)
    assert set(out.getvalue()) <= {*map(chr, range(0x20, 0x60)), "\n"}


def test_a_megabyte_is_cut_on_a_terminal_and_keys_still_go():
    out, port = Terminal(), Flood(*[b"NOISE " * 10_000] * 17)
    report = shown_of(port, Typed(*[""] * 5, "A", *[""] * 5, "\x1d", live=True), out)
    assert port.sent == b"A"
    assert report.received >= 60_000 * 10
    assert "characters not shown" in out.getvalue() and len(out.getvalue()) < 30_000


def test_in_a_pipe_nothing_is_cut():
    out = io.StringIO()
    shown_of(Flood(b"NOISE " * 10_000), Typed(), out)
    assert out.getvalue().count("NOISE") == 10_000


def test_a_lost_port_is_reported_with_what_came():
    out = io.StringIO()
    report = shown_of(Flood(b"HELLO\r", lost="the cable was pulled"), Typed("", "", "", live=True), out)
    assert report.lost == "the cable was pulled" and report.exit_status == 3
    assert "HELLO" in out.getvalue()


def test_a_one_way_link_is_typed_with_its_delays():
    machine = with_link(HERON, echo=False, pacing="timed", key_delay_s=0.5, line_delay_s=2.0)
    port = Flood()
    drive(talk_job(Conversation(machine), Typed("AB\rC"), real_time=True), port)
    assert port.sent == b"AB\rC"
    assert port.now() >= 0.5 + 0.5 + 2.0


def test_the_command_line_talks_through_a_pipe(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path))
    monkeypatch.setattr("sys.stdin", io.StringIO("0300:1 2\n0300-0301\n"))
    assert main(["talk", "--port", "board:", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert "0300: 01 02" in facts["output"] and facts["command"] == "talk"
