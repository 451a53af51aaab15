"""type: text line by line into the monitor of the simulated board, and into a small line-reading program."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from formats.errors import FormatError
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.type_text import Text, TypeReport, type_text
from linktool.machine import load
from linktool.pacing import Pacing
from linktool.verbs.talking import text_lines
from tests.linktool.shell_rig import Rig

HERON = load("heron")


class LineProgram:
    """A port with a program behind it that reads lines: echoes keys, drops the line at CTRL-X, answers each
    one, and prints its prompt READY. Times are those of a display of 60 characters a second.

    spoil: key numbers (from 1) whose key is lost on the way."""

    name = "program:"

    def __init__(self, answers: dict[str, str] | None = None, spoil: frozenset[int] = frozenset()) -> None:
        self.taken: list[str] = []
        self.keys = ""
        self._answers, self._spoil = answers or {}, spoil
        self._line, self._now = "", 0.0
        self._printing: deque[tuple[float, str]] = deque()

    def now(self) -> float:
        return self._now

    def write(self, data: bytes) -> None:
        for key in data.decode("ascii"):
            self.keys += key
            if len(self.keys) not in self._spoil:
                self._key(key)

    def _key(self, key: str) -> None:
        if key == "\r":
            self.taken.append(self._line)
            self._print("\r" + self._answers.get(self._line, "") + "READY\r")
            self._line = ""
        elif key == "\x18":
            self._line = ""
            self._print("\\\rREADY\r")
        else:
            self._line += key
            self._print(key)

    def _print(self, text: str) -> None:
        at = max(self._now, self._printing[-1][0] if self._printing else 0.0)
        for character in text:
            at += 1 / 60
            self._printing.append((at, character))

    def read(self, until: float) -> bytes:
        if not self._printing or self._printing[0][0] > until:
            self._now = max(self._now, until)
            return b""
        self._now = max(self._now, self._printing[0][0])
        found = ""
        while self._printing and self._printing[0][0] <= self._now:
            found += self._printing.popleft()[1]
        return found.encode("ascii")

    def close(self) -> None:
        pass


LISTING = [(10, "10 LET A=1"), (20, "20 PRINT A"), (30, "30 END")]


def typed(port: LineProgram, **more: str) -> TypeReport:
    talk = Conversation(HERON, Pacing(2, 1 / 60, 0.02, 0.05))
    return drive(type_text(talk, Text(LISTING, until="READY", **more), "listing"), port)


def test_every_line_goes_in_after_the_prompt_of_the_one_before():
    port = LineProgram()
    report = typed(port)
    assert port.taken == [line for _, line in LISTING]
    assert report.ok and report.typed == 3 and report.at == 0
    assert report.effort.seconds < 5


def test_an_error_answer_ends_it_at_that_line():
    port = LineProgram({"20 PRINT A": "SYNTAX ERROR\r"})
    report = typed(port, stop_on="ERROR")
    assert port.taken == ["10 LET A=1", "20 PRINT A"]
    assert (report.exit_status, report.at, report.typed) == (1, 20, 1)
    assert "SYNTAX ERROR" in report.answer


def test_a_lost_key_in_another_program_stops_before_the_line_is_ended():
    port = LineProgram(spoil=frozenset({15}))
    report = typed(port)
    assert port.taken == ["10 LET A=1"], "the spoilt line was never ended"
    assert report.at == 20 and "not ended" in report.fault and report.exit_status == 1
    assert "_" not in port.keys, "the monitor's rubout key means nothing there"


def test_with_a_cancel_key_the_line_is_dropped_and_typed_again():
    port = LineProgram(spoil=frozenset({15}))
    report = typed(port, cancel="\x18")
    assert report.ok and port.taken == [line for _, line in LISTING]
    assert report.effort.lines_retyped == 1


def test_a_prompt_that_never_comes_is_not_waited_for_for_ever():
    port = LineProgram()
    talk = Conversation(HERON, Pacing(2, 1 / 60, 0.02, 0.05))
    report = drive(type_text(talk, Text(LISTING, until="OK", patience_s=3.0), "listing"), port)
    assert report.at == 10 and "within 3 s" in report.fault
    assert 3.0 <= report.effort.seconds < 5.0


def test_ctrl_c_says_where_it_stopped():
    port, asked = LineProgram(), iter(range(10**6))
    talk = Conversation(HERON, Pacing(2, 1 / 60, 0.02, 0.05))
    stop = lambda: int(next(asked) > 60)  # noqa: E731  # after some sixty looks
    report = drive(type_text(talk, Text(LISTING, until="READY"), "listing"), port, stop=stop)
    assert report.stopped and report.exit_status == 130
    assert report.at == 10 * (report.typed + 1)


# ---- the monitor -----------------------------------------------------------------------------------


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path)
    yield rig
    rig.bench.close()


def test_deposit_lines_reach_memory(rig):
    Path("lines.txt").write_text("0300: 01 02\n\n0302: ab\n")
    assert rig.run("type lines.txt", "read 0300-0302") == 0
    shown = rig.out
    assert "Typed, every echo right: 3 lines" in shown and "0300: 01 02 AB" in shown


def test_what_the_monitor_does_not_take_ends_it(rig):
    Path("lines.txt").write_text("0300: 01\nHELLO\n0301: 02\n")
    assert rig.run("type lines.txt") == 1
    shown = rig.out
    assert "! Line 2: the machine refused it." in shown and "--from 2" in shown
    Path("lines.txt").write_text("0300: 01\n0301: 02\n")
    assert rig.run("type lines.txt --from 2", "read 0300-0301") == 0
    assert "0300: 01 02" in rig.out


def test_keys_lost_on_the_way_never_end_up_in_memory(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path, port="board:fault=keys-lost:0.02,seed=7")
    Path("lines.txt").write_text("".join(f"{0x300 + 4 * n:04X}: 11 22 33 44\n" for n in range(16)))
    assert rig.run("type lines.txt") == 0
    assert rig.run("read 0300-033F") == 0
    assert rig.out.count("11 22 33 44 11 22 33 44") == 8
    rig.bench.close()


# ---- the file --------------------------------------------------------------------------------------


def test_lines_come_with_any_line_ends_tabs_and_padding():
    assert text_lines(b"10 a\r\n\r\n20\tB  \r30 C\n\x1a\x1a", "x", HERON)[0] == [
        (1, "10 A"), (2, ""), (3, "20      B"), (4, "30 C"),
    ]  # fmt: skip


def test_empty_lines_are_left_out_where_the_end_key_alone_does_something():
    machine = replace(HERON, dialect=replace(HERON.dialect, empty_line_harmless=False))
    lines, remarks = text_lines(b"A\n\nB\n", "x", machine)
    assert lines == [(1, "A"), (3, "B")] and remarks == ("1 empty line left out",)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"10 A\n20 \xc3\xa9\n", "line 2, column 4"),
        (b"10 \x07\n", "line 1, column 4"),
        (b"A" * 200, "at most 127"),
        (b"\xff\xfe1\x000\x00", "line 1, column 1"),
        (b"", "the file is empty; expected lines of text"),
    ],
)
def test_what_no_key_sends_is_refused_with_its_place(data, said):
    with pytest.raises(FormatError, match=said):
        text_lines(data, "x", HERON)
