"""The command line as its user meets it: what it prints, its exit status, and that a refusal sends no key."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from formats import registry
from formats.image import Image
from linktool import machine as profiles
from linktool.cli import main

PROGRAM = "0280: A9 00 8D 00 03 4C 00 FF\n"


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Settings, logs and files of each test in a folder of its own; no settings from outside."""
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.delenv("LINKTOOL_PORT", raising=False)
    monkeypatch.delenv("LINKTOOL_MACHINE", raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.txt").write_text(PROGRAM)
    return tmp_path


def refused(capsys: pytest.CaptureFixture[str], *words: str, status: int = 2) -> str:
    """The complaint of a command that must not send anything: its trace is never begun."""
    assert main([*words, "--trace", "sent.jsonl"]) == status
    assert not Path("sent.jsonl").exists(), "something was sent"
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    return shown.err


def test_enter_proves_and_runs(capsys):
    assert main(["enter", "small.txt", "--port", "board:"]) == 0
    shown = capsys.readouterr().out
    assert "Proven: 8 bytes at 0280-0287 (every byte read back)." in shown


def test_the_json_of_enter_has_its_keys(capsys):
    assert main(["enter", "small.txt", "--port", "board:", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["command"] == "enter" and facts["ok"] is True
    assert facts["machine"] == "heron" and facts["port"] == "board:"
    assert facts["segments"] == [{"first": "0280", "last": "0287"}]
    assert facts["bytes"] == 8 and facts["proof"] == "read back" and facts["differences"] == []
    for key in ("keystrokes", "lines", "lines_retyped", "seconds"):
        assert isinstance(facts[key], int | float)


def test_check_of_what_was_not_entered_differs(capsys):
    assert main(["check", "small.txt", "--port", "board:", "--json"]) == 1
    facts = json.loads(capsys.readouterr().out)
    assert facts["ok"] is False and facts["proof"] == "read back"
    assert {"address": "0280", "expected": "A9"}.items() <= facts["differences"][0].items()
    assert facts["differences"][0]["kind"] == "memory"


def test_a_stuck_chip_ends_with_status_1_and_the_addresses(capsys):
    Path("ff.bin").write_bytes(b"\xff" * 16)
    words = ["enter", "ff.bin", "--at", "1000", "--port", "board:fault=stuck-chip:K7:0"]
    assert main(words) == 1
    shown = capsys.readouterr().out
    assert "! 1000  expected FF  found F7  memory" in shown
    assert "NOT proven: all 16 bytes at 1000-100F differ." in shown


def test_read_saves_in_any_format(capsys):
    assert main(["read", "FF00-FFFF", "-o", "rom.hex", "--port", "board:machine=dot"]) == 0
    saved = registry.read(Path("rom.hex").read_bytes(), "rom.hex").image
    assert len(saved) == 256
    assert "Saved 256 bytes to rom.hex" in capsys.readouterr().out


@pytest.mark.parametrize(
    "line",
    [
        "programs test smoke --port board:",
        "programs test --port board: smoke",
        "programs --port board: test smoke",
        "--port board: programs test smoke",
    ],
)
def test_options_may_stand_anywhere(capsys, line):
    assert main([*line.split(), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["name"] == "smoke"


def test_words_nobody_takes_are_refused_wherever_they_stand(capsys):
    for line in ("programs list smoke extra", "programs list --json smoke extra", "ports --json extra"):
        assert main(line.split()) == 2
        shown = capsys.readouterr()
        assert "unrecognized arguments: extra" in shown.out + shown.err
    assert "required: FILE" in refused(capsys, "enter", "--port", "board:")


def test_after_two_dashes_a_note_may_begin_with_a_dash(capsys):
    assert main(["note", "--json", "--", "--5 volts", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["text"] == "--5 volts --json"


def test_a_board_plays_the_machine_that_is_asked_for(capsys):
    for words in (
        ["--port", "board:", "--machine", "dot"],
        ["--port", "board:fault=keys-lost:0", "--machine", "dot"],
    ):
        assert main(["enter", "small.txt", *words, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["machine"] == "dot"


def test_read_does_not_replace_a_file_and_sends_nothing(capsys):
    Path("rom.hex").write_text("mine")
    shown = refused(capsys, "read", "FF00-FFFF", "-o", "rom.hex", "--port", "board:")
    assert "rom.hex is there already. Choose another name, or allow it with --overwrite" in shown
    assert Path("rom.hex").read_text() == "mine"


def test_enter_takes_several_files_and_refuses_silent_overlap(capsys):
    Path("more.txt").write_text("0300: 01 02\n")
    assert main(["enter", "small.txt", "more.txt", "--port", "board:", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bytes"] == 10
    Path("more.txt").write_text("0287: 01 02\n")
    shown = refused(capsys, "enter", "small.txt", "more.txt", "--port", "board:")
    assert "more.txt claims 0287, which small.txt holds too" in shown


REFUSALS = [
    (["enter", "absent.hex", "--port", "board:"], "absent.hex"),
    (["enter", "small.txt"], "no port is given"),
    (["enter", "small.txt", "--port", "/dev/none"], "no machine is given"),
    (["enter", "small.txt", "--port", "board:", "--machine", "nobody"], "no machine is called 'nobody'"),
    (["enter", "small.txt", "--port", "board:", "--at", "28G"], "'28G' is no address"),
    (["enter", "small.txt", "--port", "board:", "--at", "0270"], "0270-0277 is in line-buffer"),
    (["enter", "small.txt", "--port", "board:", "--at", "FF00"], "FF00-FF07 is in rom"),
    (["enter", "small.txt", "--port", "board:", "--at", "5000"], "5000-5007 is in none"),
    (["enter", "small.txt", "--port", "board:", "--force", "all"], "has no such area"),
    (["enter", "small.txt", "--port", "board:", "--run", "nowhere"], "has no symbol 'nowhere'"),
    (["enter", "small.txt", "--port", "nonsense://x", "--machine", "heron"], "nonsense"),
    (["read", "02FF-0280", "--port", "board:"], "runs backwards. Did you mean 0280-02FF?"),
    (["read", "0280-0280", "-o", "x.what", "--port", "board:"], "suffix"),
    (["read", "0280-0280", "-o", "none/x.hex", "--port", "board:"], "is not there"),
    (["run", "12345", "--port", "board:"], "above FFFF"),
    (["run", "0280", "--watch", "-1", "--port", "board:"], "will not do for SECONDS"),
    (["check"], "required: FILE"),
    (["frobnicate"], "there is no command 'frobnicate'. `linktool --help` lists them"),
    (["entr", "small.txt"], "there is no command 'entr'. Did you mean enter?"),
    (["plan", "small.txt", "small.txt", "--machine", "heron"], "small.txt is given twice"),
    (["run", "0280", "--watch", "soon"], "'soon' will not do for SECONDS. A number from 0 to 86,400"),
    (["plan", "small.txt"], "no machine is given"),
]


@pytest.mark.parametrize(("words", "said"), REFUSALS, ids=[" ".join(words) for words, _ in REFUSALS])
def test_bad_input_is_refused_and_nothing_is_sent(capsys, words, said):
    assert said in refused(capsys, *words)


MALFORMED = {
    "sum.hex": (b":10246200464C5549442050524F46494C4500464C34\n:00000001FF\n", "line 1"),
    "twice.hex": (b":0102000001FC\n:0102000002FB\n:00000001FF\n", "line 2"),
    "above.hex": (b":02FFFF000102FD\n:00000001FF\n", "line 1"),
    "odd.s19": (b"S10D1000736F6D6520646174610075\n", "line 1"),
    "raw.bin": (b"\x01\x02", "--at"),
    "wrong.s": (b"  lda #300\n  frob\n", "wrong.s"),
    "empty.hex": (b"", "empty"),
}


@pytest.mark.parametrize("name", MALFORMED)
def test_a_malformed_file_is_refused_with_its_place(capsys, name):
    data, said = MALFORMED[name]
    Path(name).write_bytes(data)
    shown = refused(capsys, "enter", name, "--port", "board:")
    assert name in shown and said in shown


def test_a_profile_with_a_wrong_key_is_refused_with_file_and_key(capsys, own_folder):
    folder = own_folder / "linktool" / "config" / "machines"
    folder.mkdir(parents=True)
    folder.joinpath("mine.toml").write_text('[machine]\nname = "mine"\ntitle = "x"\ncolour = "red"\n')
    shown = refused(capsys, "enter", "small.txt", "--port", "board:", "--machine", "mine")
    assert "mine.toml" in shown


def test_a_port_that_is_not_there_is_the_link_s_status(capsys):
    shown = refused(capsys, "enter", "small.txt", "--port", "/dev/ttyNONE9", "--machine", "heron", status=3)
    assert "/dev/ttyNONE9" in shown
    shown = refused(capsys, "read", "0280", "--port", "socket://127.0.0.1:1", "--machine", "heron", status=3)
    assert "127.0.0.1" in shown


def test_errors_are_json_too_when_asked_for(capsys):
    assert main(["enter", "absent.hex", "--port", "board:", "--json"]) == 2
    facts = json.loads(capsys.readouterr().out)
    assert facts["ok"] is False and facts["exit_status"] == 2 and "absent.hex" in facts["error"]


def test_settings_and_environment_name_port_and_machine(capsys, own_folder, monkeypatch):
    config = own_folder / "linktool" / "config"
    config.mkdir(parents=True)
    config.joinpath("settings.toml").write_text('port = "board:machine=dot"\n')
    assert main(["enter", "small.txt", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["machine"] == "dot"
    monkeypatch.setenv("LINKTOOL_PORT", "board:")
    assert main(["enter", "small.txt", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["machine"] == "heron"
    config.joinpath("settings.toml").write_text("colour = 1\n")
    shown = refused(capsys, "enter", "small.txt")
    assert "settings.toml: colour is not known; allowed: port, machine" in shown


def test_convert(capsys):
    assert main(["convert", "small.txt", "small.hex"]) == 0
    assert registry.read(Path("small.hex").read_bytes(), "small.hex").image == Image.from_bytes(
        0x0280, bytes.fromhex("A9008D00034C00FF")
    )
    capsys.readouterr()
    assert "is there already" in refused(capsys, "convert", "small.txt", "small.hex")


def test_a_board_that_begins_with_the_command_is_said_to_be_empty(capsys):
    assert main(["check", "small.txt", "--port", "board:"]) == 1
    assert "note: board: is switched on with each command" in capsys.readouterr().out
    assert main(["run", "0280", "--watch", "0", "--port", "board:"]) == 0
    assert "board: is switched on with each command" in capsys.readouterr().err
    assert main(["run", "monitor", "--watch", "1", "--port", "board:"]) == 0
    assert "switched on" not in capsys.readouterr().err


def test_machines_says_where_one_s_own_profiles_are(capsys, own_folder):
    assert main(["machines"]) == 0
    assert str(own_folder / "linktool" / "config" / "machines") in capsys.readouterr().out


def test_a_mistyped_program_is_answered_with_the_near_one(capsys):
    shown = refused(capsys, "plan", "smok", "--machine", "heron")
    assert (
        "smok: there is no such file, and no program of that name" in shown and "Did you mean smoke?" in shown
    )
    assert "small.hxe: there is no such file; expected" in refused(
        capsys, "plan", "small.hxe", "--machine", "dot"
    )


def test_plan_shows_the_lines_and_the_cost(capsys):
    assert main(["plan", "small.txt", "--machine", "heron"]) == 0
    shown = capsys.readouterr().out
    assert "280:A9 0 8D 0 3 4C 0 FF" in shown
    assert "1 line, 24 keys" in shown


def test_the_demo_ends_well(capsys):
    assert main(["demo"]) == 0
    shown = capsys.readouterr().out
    assert "HERON IS AWAKE." in shown and "Proven:" in shown and "chip K7" in shown


def test_machines_and_ports_are_listed(capsys):
    assert main(["machines"]) == 0
    assert "heron" in capsys.readouterr().out
    assert main(["machines", "dot", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["machine"]["name"] == "dot"
    assert main(["ports"]) == 0
    assert "board:" in capsys.readouterr().out


def test_run_shows_the_program_s_output(capsys):
    # 0280: lda #'H', jsr char_out (FF03 by the profile's table), jmp monitor: taken from the profile itself
    Path("hi.s").write_text("  lda #72\n  jsr char_out\n  lda #73\n  jsr char_out\n  jmp monitor\n")
    assert main(["enter", "hi.s", "--at", "0280", "--port", "board:", "--run", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["run"]["output"] == "HI\n="
    assert facts["run"]["back_at_prompt"] is True


def test_a_board_may_be_built_after_the_user_s_own_profile(capsys, own_folder):
    folder = own_folder / "linktool" / "config" / "machines"
    folder.mkdir(parents=True)
    text = (profiles.SHIPPED / "heron.toml").read_text("utf-8").replace('name = "heron"', 'name = "mine"')
    folder.joinpath("mine.toml").write_text(text.replace("clock_hz = 1_000_000", "clock_hz = 2_000_000"))
    assert main(["programs", "test", "tick", "--port", "board:machine=mine", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["machine"] == "mine" and "2.000 MHz" in facts["measured"][0]


def test_a_reader_of_the_output_that_goes_away_is_no_error():
    """As in `linktool demo | head -1`: nothing is complained of, and no status of bad input is given."""
    command = [sys.executable, "-m", "linktool", "programs", "show", "march", "--machine", "heron"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout and process.stderr
        process.stdout.close()
        said = process.stderr.read()
    assert (process.returncode, said) == (0, b"")


def test_a_trace_of_a_command_that_opens_no_port_is_said_to_be_none(capsys, tmp_path):
    file = tmp_path / "none.trace"
    assert main(["machines", "--trace", str(file)]) == 0
    assert f"no port was opened, so nothing was written to {file}" in capsys.readouterr().err
    assert not file.exists()
