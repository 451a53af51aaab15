"""`programs`: the library on the command line, tried on the simulated board in order and with faults."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from linktool import library
from linktool.cli import main


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.delenv("LINKTOOL_PORT", raising=False)
    monkeypatch.delenv("LINKTOOL_MACHINE", raising=False)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def facts(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> dict[str, object]:
    assert main([*words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_the_list_is_by_question(capsys):
    assert main(["programs"]) == 0
    assert "Does every bit of this RAM hold 0 and 1" in capsys.readouterr().out


def test_show_gives_source_bytes_and_cost(capsys):
    assert main(["programs", "show", "characters", "--machine", "heron"]) == 0
    shown = capsys.readouterr().out
    assert "0280: A9 0D 20 F1 FF" in shown and "jsr char_out" in shown and "to type" in shown


@pytest.mark.parametrize("port", ["board:", "board:machine=dot"])
def test_a_round_passes_on_a_machine_in_order(capsys, port):
    found = facts(capsys, "programs", "test", "--all", "--port", port)
    trials = {trial["name"]: trial for trial in found["programs"]}  # type: ignore[attr-defined]
    assert len(trials) == 15
    assert all(trial["ok"] or trial["refused"] for trial in trials.values())
    assert "1.000" in trials["tick"]["measured"][0]


def test_the_march_finds_a_stuck_chip_and_says_where(capsys):
    words = ["programs", "test", "march", "--set", "first=1000", "--set", "last=10FF"]
    found = facts(capsys, *words, "--port", "board:fault=stuck-chip:K7:0", status=1)
    assert found["findings"][0] == {"address": 0x1000, "expected": 0xFF, "found": 0xF7}  # type: ignore[index]
    assert "data bit 3" in str(found["verdict"])


def test_a_slow_clock_is_measured(capsys):
    found = facts(capsys, "programs", "test", "tick", "--port", "board:clock=900000")
    assert "0.900 MHz" in found["measured"][0]  # type: ignore[index]


def test_enter_and_run_take_a_program_s_name(capsys):
    found = facts(capsys, "enter", "decimal", "--run", "--port", "board:")
    assert "NMOS" in found["run"]["output"]  # type: ignore[index]
    assert facts(capsys, "plan", "decimal", "--machine", "dot")["bytes"] == found["bytes"]
    # nothing was entered on this fresh board: what stands at the program's start is run all the same
    assert facts(capsys, "run", "decimal", "--watch", "0", "--port", "board:")["address"] == "0280"


def test_one_s_own_program_is_added_shown_and_tried(capsys):
    Path("hi.s").write_text("  lda #72\n  jsr char_out\n  jmp monitor\n")
    answers = ["--title", "Hi", "--question", "Does it say H?", "--ends", "monitor", "--expect", "H"]
    facts(capsys, "programs", "add", "hi.s", *answers)
    assert main(["programs"]) == 0
    assert "Does it say H? (yours)" in capsys.readouterr().out
    assert facts(capsys, "programs", "test", "hi", "--port", "board:")["ok"] is True
    assert main(["programs", "add", "hi.s", *answers]) == 2
    assert "is there already" in capsys.readouterr().err


def test_a_program_is_shown_without_a_machine_too(capsys):
    assert main(["programs", "show", "march"]) == 0
    shown = capsys.readouterr().out
    assert (
        "Does every bit of this RAM hold 0 and 1" in shown
        and "Caution: What is in the range is lost." in shown
    )
    assert "        lda #limit\n" in shown and "  first  the first address tested" in shown
    assert shown.endswith("for that machine as well.\n") and "On machine" not in shown
    assert facts(capsys, "programs", "show", "march")["machine"] is None
    assert facts(capsys, "programs", "show", "march", "--port", "board:")["machine"] == "heron"


def test_what_is_told_of_a_program_fits_80_columns(capsys):
    for name in library.available():
        assert main(["programs", "show", name]) == 0
        told = capsys.readouterr().out
        told = told.partition("\nCaution")[0].partition("\nIt takes")[0].partition("\n;")[0]
        assert max(map(len, told.split("\n"))) <= 80 and "\n\n\n" not in told, name


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["show", "nothing", "--machine", "heron"], "no program is called"),
        (["show", "../march", "--machine", "heron"], "no program is called"),
        (["show", "march", "--machine", "heron", "--at", "0100"], "stack"),
        (["test", "march", "--port", "board:", "--set", "first=x"], "is no parameter"),
        (["test", "march", "--port", "board:", "--set", "colour=1"], "colour"),
        (["add", "absent.s"], "absent.s: there is no such file"),
        (["add", "hi.s", "--as-name", "../march"], "cannot be a program's name"),
        (["add", "hi.s", "--title", "x"], "--question is missing"),
        (["add", "hi.s", "--title", " ", "--question", "x", "--expect", "X"], "the title is empty"),
        (["add", "hi.s", "--title", "x", "--question", "x", "--expect", "Hi"], "'i' cannot be printed"),
        (
            ["add", "hi.s", "--title", "x", "--question", "x", "--ends", "x", "--expect", ""],
            "'x' is not one of",
        ),
        (["test"], "no port is given"),
    ],
)
def test_what_cannot_be_is_refused(capsys, words, said):
    Path("hi.s").write_text("  jmp monitor\n")
    assert main(["programs", *words]) == 2
    assert said in capsys.readouterr().err
