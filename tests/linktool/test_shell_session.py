"""A whole evening in lines: what is remembered, what is shown, what stops it. On the simulated board."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from linktool.shell.memory import CHANGING
from linktool.shell.own_verbs import OWN, VERBS
from linktool.shell.script import run_script
from tests.linktool.shell_rig import Rig


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path)
    yield rig
    rig.bench.close()


def test_once_something_is_in_hand_verbs_need_no_arguments(rig):
    assert rig.run("enter small.txt") == 0
    assert "Proven: 8 bytes at 0280-0287 (every byte read back)." in rig.out
    assert rig.run("check") == 0
    assert "Proven: 8 bytes" in rig.out
    assert rig.run("run --watch 1") == 0
    assert "Started at 0280" in rig.out
    assert rig.run("plan", "sheet") == 0
    assert "small.txt" in rig.out


def test_port_machine_and_image_stay_in_hand(tmp_path, rig):
    fresh = Rig(tmp_path, port=None)
    assert fresh.shell.prompt() == "no port> "
    assert fresh.run("enter small.txt") == 2
    assert "no port is given" in fresh.err
    assert fresh.run("enter small.txt --port board:") == 0
    assert fresh.shell.prompt() == "heron on board:> "
    assert fresh.run("image") == 0
    assert "small.txt 0280-0287 (8 bytes), starts at 0280\nproven 21:14" in fresh.out
    fresh.bench.close()


def test_another_place_for_the_image_is_remembered_too(rig):
    assert rig.run("enter small.txt --at 400", "check") == 0
    assert rig.out.count("0400-0407") == 2


def test_the_bottom_line_says_what_is_proven_and_what_happened_since(rig):
    assert rig.shell.bottom_line(120) == "port board: | machine heron | no image"
    rig.run("image small.txt")
    assert rig.shell.bottom_line(120).endswith("| image small.txt 0280-0287 (8 bytes) | not entered yet")
    rig.run("enter")
    assert rig.shell.bottom_line(120).startswith("port board: open | machine heron")
    assert rig.shell.bottom_line(120).endswith("| proven 21:14")
    rig.run("run --watch 0.5")
    assert rig.shell.bottom_line(120).endswith("| proven 21:14, then run")
    assert "run" in CHANGING


@pytest.mark.parametrize(("length", "said"), [(1, "0300 (1 byte)"), (2048, "0300-0AFF (2,048 bytes)")])
def test_the_image_s_size_as_the_reports_write_it(rig, tmp_path, length, said):
    (tmp_path / "any.bin").write_bytes(bytes(length))
    assert rig.run(f'image "{(tmp_path / "any.bin").as_posix()}" --at 0300') == 0
    assert said in rig.out


def test_the_bottom_line_never_touches_the_port_and_fits_any_width(rig):
    rig.run("image small.txt")
    for columns in range(1, 130):
        line = rig.shell.bottom_line(columns)
        assert len(line) <= columns
        if columns >= 60:
            assert "not entered yet" in line
    assert rig.bench.port is None


def test_what_was_proven_on_another_machine_is_not_proven_here(rig):
    assert rig.run("enter small.txt") == 0
    assert rig.run("port board:machine=dot") == 0
    assert rig.shell.bottom_line(120).endswith("not entered yet")
    assert rig.shell.prompt() == "dot, not connected> "
    assert rig.run("enter --at 300") == 0


def test_a_simulated_board_that_is_busy_is_ended_by_naming_it_again(rig):
    assert rig.run("enter stars --port board:") == 0 and rig.run("run --watch 1") == 0
    assert "`port board:` ends it" in rig.out
    assert rig.run("read 0280") == 3, "it waits for a key of its own"
    assert rig.run("port board:") == 0
    assert rig.shell.bottom_line(120).endswith("not entered yet")
    assert rig.run("read 0280") == 0


def test_differences_are_shown_with_a_mark_and_remembered(rig):
    assert rig.run("check small.txt") == 1
    shown = rig.out
    assert "! 0280  expected A9" in shown and "NOT proven" in shown
    assert "\x1b" not in shown, "colour where there is no terminal"
    assert rig.shell.bottom_line(120).endswith("NOT proven 21:14")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("entr small.txt", "Did you mean enter?"),
        ("enter nofile.hex", "nofile.hex"),
        ("enter small.txt --att 300", "Did you mean --at?"),
        ("run", "run needs ADDRESS"),
        ("check", "check needs FILE"),
        ('enter "small.txt', "not closed"),
        ("port usb://1", "usb"),
        ("machine heren", "heren"),
        ("enter small.txt --at 100", "stack"),
    ],
)
def test_mistakes_are_said_and_nothing_is_sent(rig, line, said):
    assert rig.run(line) == 2
    assert rig.out == ""
    shown = rig.err
    assert shown.startswith("! ") and said in shown
    assert rig.bench.port is None


def test_a_mistake_leaves_what_is_in_hand(rig):
    rig.run("enter small.txt", "enter nofile.hex", "port usb://1")
    assert rig.shell.bottom_line(120).endswith("proven 21:14")


def test_json_is_one_object_and_nothing_else_for_one_line(rig):
    assert rig.run("enter small.txt --json") == 0
    shown = rig.out
    assert json.loads(shown)["ok"] is True and shown.count("\n") == 1
    rig.run("check")
    assert rig.out.startswith("Proven")


def test_help_lists_every_verb_and_explains_each_with_an_example(rig, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("LINES", "24")
    assert rig.run("help") == 0
    shown = rig.out
    assert all(verb.name in shown for verb in VERBS)
    assert shown.count("\n") < 24 and max(map(len, shown.splitlines())) <= 60
    for verb in VERBS:
        assert rig.run(f"help {verb.name}") == 0
        shown = rig.out
        assert f"Example: {verb.name}" in shown
        assert max(map(len, shown.splitlines())) <= 78


def test_an_empty_line_and_a_comment_do_nothing(rig):
    assert rig.run("", "   ", "# enter small.txt") == 0
    assert rig.out == rig.err == ""


def test_a_line_copied_from_the_manual_works(rig):
    assert rig.run("linktool enter small.txt --port board:") == 0


def test_leaving(rig):
    assert rig.shell.execute("quit").leave
    assert rig.shell.execute("exit").leave
    assert not rig.shell.execute("help").leave


def test_a_trace_can_be_begun_at_any_line(rig):
    rig.run("enter small.txt")
    assert not Path("evening.jsonl").exists()
    assert rig.run("check --trace evening.jsonl") == 0
    assert '"event": "out"' in Path("evening.jsonl").read_text()


def test_the_screen_shows_what_came(rig):
    rig.run("enter small.txt", "screen")
    shown = rig.out
    assert "+----------------------------------------+" in shown
    assert "|0280: A9 00 8D 00 03 4C 00 FF           |" in shown


def test_a_script_stops_at_the_first_failure_with_its_status(rig):
    lines = iter(["# the evening", "", "enter small.txt", "check", "check other.txt", "run"])
    Path("other.txt").write_text("0300: 01 02\n")
    assert run_script(rig.shell, lambda: next(lines, None)) == 1
    assert "! stopped at line 5: check other.txt" in rig.err
    assert next(lines) == "run"


def test_a_script_that_works_ends_0_and_quit_ends_it(rig):
    lines = iter(["enter small.txt", "quit", "nonsense"])
    assert run_script(rig.shell, lambda: next(lines, None)) == 0


def test_completion_knows_the_image_in_hand_and_the_machine(rig):
    rig.run("image small.txt")
    assert [each.text for each in rig.shell.complete("read 02").candidates] == ["0280-0287"]
    assert [each.text for each in rig.shell.complete("run mon").candidates] == ["monitor"]
    assert "board:" in [each.text for each in rig.shell.complete("port ").candidates]
    assert {"dot", "heron"} <= {each.text for each in rig.shell.complete("machine ").candidates}
    assert rig.bench.port is None


def test_own_verbs_and_the_table_share_no_name():
    names = [verb.name for verb in VERBS]
    assert len(names) == len(set(names)) and {verb.name for verb in OWN} <= set(names)
