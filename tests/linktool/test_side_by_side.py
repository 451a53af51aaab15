"""One command on several boards at once: one that fails does not stop the others; the status is the worst."""

from __future__ import annotations

import io
import json
import re
import signal
import threading
from pathlib import Path

import pytest

from linktool.actions import Note
from linktool.bench_file import Place
from linktool.board import open_board
from linktool.board.serve import Service
from linktool.cli import main
from linktool.commands import find
from linktool.jobs.several import BoardResult
from linktool.render.several_progress import SeveralProgress
from linktool.side_by_side import numbered, run_several

PROGRAM = "0280: A9 00 8D 00 03 4C 00 FF\n"
BOARDS = """
[[board]]
port = "board:"
label = "good"
[[board]]
port = "board:machine=dot,fault=stuck:0280:3:0"
label = "stuck"
[[board]]
port = "board:fault=cut-at:2s"
label = "pulled"
[[board]]
port = "board:latency=0.05"
machine = "heron"
label = "slow"
"""


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.txt").write_text(PROGRAM)
    (tmp_path / "long.bin").write_bytes(bytes(200))
    (tmp_path / "bench.toml").write_text(BOARDS)
    return tmp_path


def test_one_that_fails_does_not_stop_the_others(capsys):
    assert main(["enter", "long.bin", "--at", "0280", "--bench", "bench.toml", "--json"]) == 3
    facts = json.loads(capsys.readouterr().out)
    assert facts["command"] == "enter" and facts["ok"] is False and facts["exit_status"] == 3
    ends = {board["label"]: (board["machine"], board["exit_status"]) for board in facts["boards"]}
    assert ends == {
        "good": ("heron", 0),
        "stuck": ("dot", 0),  # bit 3 of 0280 is to be 0 anyway
        "pulled": ("heron", 3),
        "slow": ("heron", 0),
    }
    for board in facts["boards"]:
        if board["exit_status"] == 0:
            assert board["report"]["proven"] == [{"first": "0280", "last": "0347"}]


def test_a_table_at_the_end_and_what_is_wrong_above_it(capsys):
    status = main(["enter", "small.txt", "--port", "board:", "--port", "board:fault=stuck:0280:3:0"])
    shown = capsys.readouterr().out
    assert status == 1
    assert "board:fault=stuck:0280:3:0:\n! 0280  expected A9  found A1  memory\n" in shown
    rows = shown.splitlines()[-4:]
    assert rows[0].split() == ["board", "machine", "ended", "time"]
    assert rows[1].startswith("board:  ") and "done" in rows[1] and "8 bytes proven" in rows[1]
    assert "differences" in rows[2] and "1 byte of 8 wrong" in rows[2]
    assert rows[3] == "2 boards: 1 done, 1 with differences."


def test_the_table_says_what_came_of_surveys_and_rounds(capsys, own_folder):
    bad = "board:fault=bank-missing:2000-2FFF"
    assert main(["survey", "--port", "board:", "--port", bad]) == 1
    well, wrong = capsys.readouterr().out.splitlines()[-3:-1]
    assert re.search("done +[0-9.]+ s  33 pages as the profile says$", well)
    assert re.search("differences +[0-9.]+ s  RAM bank 2, row L 2000-2FFF$", wrong)
    gone = ["--machine", "heron", "--port", "socket://127.0.0.1:1"]
    assert main(["programs", "test", "--all", "--port", bad, *gone]) == 3
    wrong = capsys.readouterr().out.splitlines()[-3]
    assert re.search("15 programs tried; not as it should be: survey$", wrong)


def test_what_can_be_refused_is_refused_before_any_port_is_opened(capsys, own_folder):
    words = ["enter", "small.txt", "--at", "0270", "--port", "board:", "--port", "board:machine=dot"]
    assert main([*words, "--trace", "sent.jsonl"]) == 2
    shown = capsys.readouterr().out
    assert shown.count("is in line-buffer") == 2 and "2 boards: 2 refused." in shown
    assert not list(own_folder.glob("sent*"))


def test_a_port_that_cannot_be_opened_leaves_the_others_alone(capsys):
    words = ["check", "small.txt", "--machine", "heron", "--port", "socket://127.0.0.1:1", "--port", "board:"]
    assert main([*words, "--json"]) == 3
    first, second = json.loads(capsys.readouterr().out)["boards"]
    assert first["exit_status"] == 3 and "127.0.0.1" in first["error"] and "report" not in first
    assert second["exit_status"] == 1 and second["report"]["lost"] == ""


def test_a_program_runs_on_each_and_its_lines_carry_the_board(capsys):
    words = ["programs", "test", "stars", "--port", "board:", "--port", "board:machine=dot"]
    assert main(words) == 0
    shown = capsys.readouterr().out
    assert "board:             ******************* YOU 1\n" in shown
    assert "board:machine=dot  ******************* YOU 1\n" in shown


def test_each_board_has_a_trace_of_its_own(own_folder):
    assert main(["check", "small.txt", "--port", "board:", "--port", "board:", "--trace", "t.jsonl"]) == 1
    assert sorted(path.name for path in own_folder.glob("t*")) == ["t-1.jsonl", "t-2.jsonl"]
    assert numbered(Path("a/b.jsonl"), 7) == Path("a/b-7.jsonl")


def test_other_commands_take_one_port(capsys):
    assert main(["read", "0280", "--port", "board:", "--port", "board:"]) == 2
    assert "read takes one --port. Several boards at once: enter, check" in capsys.readouterr().err


def test_ctrl_c_stops_all_of_them(monkeypatch):
    command = find("enter")
    assert command is not None
    values = {
        "image": ["long.bin"], "at": 0x0280, "format": None, "no_check": False, "run": None, "watch": 5.0,
        "force": None, "via": "auto", "machine": None, "json": False, "trace": None, "bench": None,
        "port": None, "ports": (),
    }  # fmt: skip

    def noted(number: int, note: Note, at: float) -> None:
        if note.topic == "progress" and note.facts["done"] > 50:
            signal.raise_signal(signal.SIGINT)

    report = run_several(command, values, [Place("a", "board:"), Place("b", "board:")], noted)
    assert [board.exit_status for board in report.boards] in ([130, 130], [3, 3], [130, 3], [3, 130])
    assert report.exit_status in (130, 3)


def test_a_mistake_of_ours_is_not_hidden():
    command = find("enter")
    assert command is not None
    with pytest.raises(KeyError):
        run_several(command, {"trace": None, "json": False, "machine": None}, [Place("a", "board:")])


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_block_with_a_line_a_board_is_redrawn_in_place(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("LINES", "24")
    monkeypatch.setenv("TERM", "vt100")
    out, err = Terminal(), Terminal()
    times = iter(float(number) for number in range(100))
    progress = SeveralProgress(["one", "second"], out, err, lambda: next(times))
    progress.noted(0, Note("progress", {"phase": "enter", "done": 50, "total": 200}), 0.0)
    assert err.getvalue() == "one     enter   25 %  50 of 200 bytes\x1b[K\nsecond  waiting\x1b[K\n"
    progress.ended(1, BoardResult("second", "board:", "heron", 3, error="the link\x1b[2J was lost"))
    assert err.getvalue().endswith(
        "\x1b[2A\rone     enter   25 %  50 of 200 bytes\x1b[K\nsecond  the link.[2J was lost\x1b[K\n"
    )
    progress.noted(0, Note("output", {"text": "HEL"}), 0.0)
    assert out.getvalue() == ""
    progress.noted(0, Note("output", {"text": "LO\r\x1b[1m"}), 0.0)
    assert out.getvalue() == "one     HELLO\n"
    progress.ended(0, BoardResult("one", "board:", "heron", 0))
    assert out.getvalue() == "one     HELLO\none     .[1M\n"
    progress.clear()
    assert err.getvalue().endswith("\x1b[2A\r\x1b[J")


def test_elsewhere_a_line_is_printed_as_each_board_ends():
    err = io.StringIO()
    progress = SeveralProgress(["one", "second"], io.StringIO(), err)
    progress.noted(0, Note("progress", {"phase": "enter", "done": 50, "total": 200}), 0.0)
    assert err.getvalue() == ""
    progress.ended(1, BoardResult("second", "board:", "heron", 130))
    assert err.getvalue() == "second  stopped\n"


def test_with_more_boards_than_rows_they_are_counted(monkeypatch):
    monkeypatch.setenv("LINES", "24")
    monkeypatch.setenv("TERM", "vt100")
    err = Terminal()
    progress = SeveralProgress([f"b{number}" for number in range(64)], io.StringIO(), err)
    progress.ended(5, BoardResult("b5", "board:", "heron", 0))
    assert "1 of 64 boards done" in err.getvalue() and "b5   done\n" in err.getvalue()


def test_real_boards_over_tcp_and_one_that_goes_away(capsys, own_folder):
    with Service() as service:
        options = ("", ",machine=dot", ",fault=cut-at:30", ",latency=0.03")
        boards = [open_board(f"board:display=600,rate=19200{option}") for option in options]
        ports = [service.add(board, "tcp:127.0.0.1:0") for board in boards]
        serving = threading.Thread(target=service.run)
        serving.start()
        try:
            machines = ("heron", "dot", "heron", "heron")
            (own_folder / "real.toml").write_text(
                "".join(
                    f'[[board]]\nport = "{port}"\nmachine = "{machine}"\nlabel = "{number}"\n'
                    for number, (port, machine) in enumerate(zip(ports, machines, strict=True))
                )
            )
            assert main(["enter", "small.txt", "--bench", "real.toml", "--via", "typed", "--json"]) == 3
        finally:
            service.stop()
            serving.join(10)
    facts = json.loads(capsys.readouterr().out)
    assert [board["exit_status"] for board in facts["boards"]] == [0, 0, 3, 0]
    assert facts["boards"][2]["report"]["lost"]
    for number in (0, 1, 3):
        assert boards[number].memory(0x0280, 0x0287) == bytes.fromhex("A9008D00034C00FF")
        assert facts["boards"][number]["report"]["proven"] == [{"first": "0280", "last": "0287"}]
