"""survey, diagnose, resume, log, note, report, map and trace as their user meets them, on boards."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from html.parser import HTMLParser
from pathlib import Path

import pytest

from formats.image import Image
from linktool.bench_log import FILE, BenchLog
from linktool.board.board import Board
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.check import check
from linktool.machine import load
from linktool.replay_port import ReplayPort
from linktool.trace import read_trace

PROGRAM = "1000: " + " ".join(f"{(n * 37 + 11) & 0xFF:02X}" for n in range(64)) + "\n"
BAD = "board:fault=stuck-chip:K7:0"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "own"))
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "program.txt").write_text(PROGRAM)
    (tmp_path / "rom.bin").write_bytes(Board(load("heron")).memory(0xFF00, 0xFFFF))
    return tmp_path


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]):
    """Run a command; gives its exit status, what it printed and what it complained of."""

    def run(*words: str) -> tuple[int, str, str]:
        status = main(list(words))
        shown = capsys.readouterr()
        assert "Traceback" not in shown.err
        return status, shown.out, shown.err

    return run


def entries(folder: Path) -> list[dict[str, object]]:
    path = folder / "own" / "state" / FILE
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def test_a_map_names_its_last_source_and_counts_the_others(told):
    for _ in range(3):
        told("check", "program.txt", "--port", BAD)
    out = told("map", "--machine", "heron")[1]
    assert re.search(
        r"^From check of [-0-9]+ [0-9:]+, and from 2 earlier entries of the bench log[.]$", out, re.M
    )


def test_the_log_names_the_programs_that_did_not_do(told):
    told("programs", "test", "--all", "--port", "board:fault=bank-missing:2000-2FFF")
    assert "14 of 15 programs as they should be; not survey" in told("log")[1]


def test_the_log_of_a_command_that_is_none_is_refused_with_those_there_are(told):
    told("note", "x")
    status, _, err = told("log", "--only", "enters")
    assert status == 2 and "no command is called 'enters'. Commands: demo, ports, " in err
    status, out, _ = told("log", "--only", "survey")
    assert status == 0 and "no such entries" in out


def test_the_log_keeps_the_clock_that_was_measured(told):
    told("programs", "test", "tick", "--port", "board:clock=900000")
    assert "tick: all 32 ticks came; the processor runs at 0.900 MHz" in told("log")[1]


def test_a_page_says_when_all_is_mended(told, folder):
    told("note", "nothing yet")
    told("report", "-o", "before.md")
    assert "| faults found | 0 | none |" in (folder / "before.md").read_text("utf-8")
    told("enter", "program.txt", "--port", BAD)
    told("report", "-o", "broken.md")
    assert "| faults found | 1 | 1 not yet mended |" in (folder / "broken.md").read_text("utf-8")
    told("enter", "program.txt", "--port", "board:")
    told("diagnose", "1000-1FFF", "--port", "board:")
    told("report", "-o", "after.md")
    assert "| faults found | 1 | all mended |" in (folder / "after.md").read_text("utf-8")


# ---- survey ----


def test_survey_says_what_answers(told):
    status, out, _ = told("survey", "--port", "board:fault=bank-missing:2000-2FFF")
    assert status == 1
    assert "! RAM bank 2, row L (2000-2FFF) does not answer; expected RAM (8 pages tried)." in out
    assert "RAM bank 1, row K (1000-1FFF) answers as RAM (8 pages tried)." in out
    assert "2000     ..  ..  ..  .." in out
    assert "Memory is as it was before: every byte tried was put back and read back." in out


def test_survey_names_the_chip_with_its_numbers(told):
    status, out, _ = told("survey", "1000-1FFF", "2000-2FFF", "--port", BAD)
    assert status == 1
    assert "data bit 3 of 1000-1FFF always reads 0" in out
    assert "it reads 0 in all of 16 bytes, 8 of which should have it 1" in out
    assert "chip K7 (4096 x 1 RAM), its socket or its pins" in out
    assert "power off" in out and "The board's manual comes first." in out


def test_survey_as_json(told):
    status, out, _ = told("survey", "1000-10FF", "--port", "board:", "--json")
    report = json.loads(out)
    assert status == 0 and report["ok"] and report["pages"] == [["10", "ram"]]
    assert report["stretches"][0]["state"] == "ram" and "memory" not in report


def test_survey_holds_a_rom_against_a_file_and_a_sum(told, folder):
    status, out, _ = told("survey", "1000-10FF", "--rom", "rom.bin", "--port", "board:")
    assert status == 0 and "Proven: ROM FF00-FFFF is the same as rom.bin, 256 bytes; CRC-32 " in out
    crc = out.split("CRC-32 ")[1].split(".")[0]
    assert told("survey", "1000-10FF", "--rom-crc32", crc.lower(), "--port", "board:")[0] == 0
    status, out, _ = told("survey", "1000-10FF", "--rom-crc32", "1", "--port", "board:")
    assert status == 1 and f"CRC-32 is {crc}, expected 00000001" in out
    status, out, _ = told("survey", "1000-10FF", "--rom", "rom.bin", "--port", "board:fault=rom-bad:FFFA:55")
    assert re.search(r"! ROM FF00-FFFF: 1 of 256 bytes differs from rom[.]bin; CRC-32 [0-9A-F]{8}[.]", out)
    assert status == 1 and "! FFFA  expected" in out and "chip J12 (256 x 8 ROM)" in out


def test_surveys_are_compared(told):
    missing = "board:fault=bank-missing:2000-2FFF"
    assert told("survey", "2000-2FFF", "--save", "before.json", "--port", missing)[0] == 1
    status, out, _ = told("survey", "2000-2FFF", "--compare", "before.json", "--port", "board:")
    assert status == 0
    assert "16 pages changed" in out and "2000-2FFF: was nothing answers, is now RAM." in out
    assert "power off, plug pulled" in out
    status, _, err = told("survey", "--save", "before.json", "--port", "board:")
    assert status == 2 and "--overwrite" in err
    status, _, err = told("survey", "--compare", "before.json", "--port", "board:machine=dot")
    assert status == 2 and "a survey of machine heron, not of dot" in err


def test_survey_deep_marches_and_says_what_is_lost(told):
    status, out, _ = told("survey", "1200-127F", "--deep", "--port", "board:fault=stuck:1234:2:1")
    assert status == 1
    assert "! March over 1200-127F" in out and "! 1234  expected 00  found 04" in out
    assert "a single bad cell: data bit 2 at 1234" in out and "likely chip K8" in out
    assert "What was in the marched ranges, and where the test programs stood (0000-0005, 0280-0359)" in out
    assert "is lost; the rest of memory is as it was before" in out
    assert "faults in the march over 1200-127F" in told("log")[1]
    out = told("map", "1200-12FF", "--machine", "heron")[1]
    assert "1200   ###X############" in out


def test_survey_deep_stands_its_programs_in_memory_that_works(told):
    """The march over bank 0 would by itself stand in bank 1, which is bad; over bank 1 it gives up."""
    status, out, _ = told("survey", "--deep", "--port", BAD)
    assert status == 1 and "could not be entered" not in out
    assert "March over 0280-0FFF: no fault." in out and "March over 3000-3FFF: no fault." in out
    assert "! March over 1000-1FFF: 1000 should hold FF and read F7: data bit 3; further lines: 31." in out
    assert out.count("! 1000  expected FF  found F7") == 1 and "! and 8 more" in out
    assert "It gave up after 32 lines: there may be more." in out
    assert "where the test programs stood (0000-0005, 0280-0359, 2000-20D9), is lost" in out


def test_a_bad_cell_where_a_program_would_stand_is_stepped_around(told):
    """Too few bytes for the quick survey to see: only entering the program shows it."""
    status, out, _ = told("survey", "1000-1FFF", "--deep", "--port", "board:fault=stuck:0290:0:1")
    assert status == 1 and "March over 1000-1FFF: no fault." in out
    assert "! A test program could not be entered because of these bytes:" in out
    assert "! 0290  expected 00  found 01" in out
    assert "where the test programs stood (0000-0005, 0280-0359, 2000-20D9), is lost" in out


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("survey",), "no port is given"),
        (("survey", "--rom", "absent.bin", "--port", "board:"), "no such file"),
        (("survey", "--rom", "program.txt", "--rom-crc32", "1", "--port", "board:"), "Give one"),
        (("survey", "--rom-crc32", "XYZ", "--port", "board:"), "is no CRC-32"),
        (("survey", "--rom-crc32", "1", "--port", "board:machine=dot", "--machine", "nope"), "nope"),
        (("survey", "--compare", "program.txt", "--port", "board:"), "is no saved survey"),
        (("diagnose", "9000-9FFF", "--port", "board:"), "has no RAM in 9000-9FFF"),
        (("resume", "--port", "board:"), "nothing was interrupted"),
        (("log", "7"), "has no entry 7"),
        (("note", "  "), "the note is empty"),
        (("report",), "no file is named"),
        (("report", "-o", "page.pdf"), "a page is .html or .md"),
        (("report", "-o", "page.html"), "no such entries"),
        (("log", "--since", "soon"), "is no moment"),
        (("trace", "show", "absent.trace"), "cannot be read"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_sent(told, folder, words, complaint):
    status, out, err = told(*words)
    assert status == 2 and out == "" and complaint in err
    assert entries(folder) == [] and not (folder / "page.html").exists()


# ---- diagnose ----


def test_diagnose_explains_the_last_check_of_the_log(told, folder):
    assert told("diagnose", "--machine", "heron")[1].startswith("The bench log has no check or survey")
    told("check", "program.txt", "--port", "board:")
    out = told("diagnose", "--machine", "heron")[1]
    assert "holds something else" in out and "look at" not in out
    told("enter", "program.txt", "--port", BAD)
    status, out, _ = told("diagnose", "--machine", "heron")
    assert status == 1 and out.startswith("From the enter of ")
    assert "Likely: data bit 3 of 1000-1FFF always reads 0" in out and "chip K7" in out
    told("enter", "program.txt", "--port", "board:")
    status, out, _ = told("diagnose", "--machine", "heron")
    assert status == 0 and "found nothing wrong" in out


def test_diagnose_measures_a_bank(told):
    status, out, _ = told("diagnose", "1000-10FF", "--port", BAD)
    assert status == 1 and "chip K7" in out and "Memory is as it was before, byte for byte." in out
    assert "what was read, 1000-1FFF" in out
    status, out, _ = told("diagnose", "1000-1FFF", "--port", "board:", "--json")
    report = json.loads(out)
    assert status == 0 and report["ok"] and report["faults"] == []


def test_diagnose_says_that_a_few_bytes_are_not_all(told):
    status, out, _ = told("diagnose", "1000-1FFF", "--port", "board:fault=stuck:1234:5:1")
    assert status == 0 and "No fault of the memory was found in what was looked at." in out
    assert "`linktool survey --deep` tries every byte" in out


def test_a_poor_link_is_named_and_is_no_fault_of_the_memory(told):
    status, out, _ = told("diagnose", "1000-1FFF", "--port", "board:fault=prints-changed:0.02,seed=3")
    assert status == 0 and "! Likely: noise: the link, the ground or the supply, not one chip." in out


def test_where_nothing_could_be_measured_nothing_is_said_of_the_memory(told):
    status, out, _ = told("diagnose", "--all", "--port", "board:fault=bits-shorted:2:3")
    assert status == 3 and "Nothing was measured before that." in out
    assert "No fault" not in out and "Memory is as it was" not in out and "nothing." not in out


def test_a_bank_that_forgets_is_not_said_to_be_missing_for_certain(told):
    status, out, _ = told("diagnose", "1000-1FFF", "--port", "board:fault=forgets:1000-1FFF:1")
    assert status == 1 and "Certain" not in out
    assert "What else it may be: memory that forgets within seconds, for want of refresh or supply" in out


def test_diagnose_as_json_names_chip_and_next_step(told):
    status, out, _ = told("diagnose", "--all", "--port", BAD, "--json")
    (fault,) = json.loads(out)["faults"]
    assert status == 1
    assert (fault["kind"], fault["bits"], fault["value"]) == ("stuck", [3], 0)
    assert (fault["chip"], fault["chip_confidence"]) == ("K7", "certain")
    assert "linktool diagnose 1000-1FFF" in fault["next"]


# ---- the log ----


def test_jobs_are_logged_and_listed(told, folder):
    told("enter", "program.txt", "--port", "board:")
    told("read", "1000-1007", "--port", "board:")
    told("plan", "program.txt", "--machine", "heron")
    told("note", "K7", "swapped \x1b[31m& <b>sorted</b>")
    told("run", "FF00", "--watch", "1", "--port", "board:")
    told("survey", "1000-10FF", "--port", "board:machine=dot")
    names = [entry["command"] for entry in entries(folder)]
    assert names == ["enter", "read", "note", "run", "survey"], "a plan is no job at the machine"
    first = entries(folder)[0]
    assert first["machine"] == "heron" and first["port"] == "board:" and first["proof"] == "read back"
    assert first["sources"] == ["program.txt"] and first["bytes"] == 64 and first["status"] == 0
    _, out, _ = told("log")
    assert "program.txt 1000-103F: 64 bytes proven, every byte read back" in out
    assert "K7 swapped .[31m& <b>sorted</b>" in out, "control characters do not reach the terminal"
    assert len(out.splitlines()) == 5
    assert len(told("log", "--machine", "dot")[1].splitlines()) == 1
    assert len(told("log", "--only", "note")[1].splitlines()) == 1
    assert len(told("log", "--find", "SWAPPED")[1].splitlines()) == 1
    assert len(told("log", "--last", "2")[1].splitlines()) == 2
    assert told("log", "--until", "2000-01-01")[1] == "The bench log has no such entries.\n"
    assert len(told("log", "--since", "today")[1].splitlines()) == 5
    whole = told("log", "1")[1]
    assert "CRC-32" in whole and "proven" in whole
    numbered = json.loads(told("log", "--json")[1])
    assert [entry["number"] for entry in numbered["entries"]] == [1, 2, 3, 4, 5]


def test_a_link_that_fails_is_logged_too(told, folder):
    status, _, _ = told("enter", "program.txt", "--port", "/dev/linktool-absent", "--machine", "heron")
    assert status == 3
    (entry,) = entries(folder)
    assert entry["status"] == 3 and entry["lost"] and entry["ok"] is False


def test_a_log_that_cannot_be_written_is_said_once_and_fails_no_job(told, folder):
    (folder / "own").mkdir()
    (folder / "own" / "state").write_text("a file where the folder should be")
    status, out, err = told("enter", "program.txt", "--port", "board:")
    assert status == 0 and "Proven" in out
    assert err.count("bench log") == 1 and "cannot be written" in err


def test_a_damaged_log_is_listed_with_a_word_on_it(told, folder):
    told("note", "first")
    with (folder / "own" / "state" / FILE).open("ab") as file:
        file.write(b'\xff\xfe garbage\n{"at": "2026-')
    told("note", "second")
    _, out, _ = told("log")
    assert "first" in out and "second" in out and "2 lines of" in out


# ---- resume ----


def test_resume_gives_back_what_a_cut_survey_had_written_over(told, folder):
    port = "board:fault=cut-at:25s"
    status, out, _ = told("survey", "--port", port)
    assert status == 3 and "could not be put back" in out and "`linktool resume` tries again" in out
    status, _, err = told("survey", "--port", port)
    assert status == 2 and "has not given back" in err
    status, out, _ = told("resume", "--port", port, "--json")
    assert status == 0, "a fresh board, whose bytes are as the survey had found them"
    assert json.loads(out)["test"] == "survey"
    assert told("resume", "--port", port)[0] == 2


def test_resume_goes_on_with_an_entry_and_can_forget_it(told, folder):
    port = "board:fault=cut-at:8s"
    status, out, _ = told("enter", "program.txt", "program.txt", "--port", port)
    assert status == 2, "the same addresses twice"
    status, out, _ = told("enter", "program.txt", "--run", "FF00", "--watch", "1", "--port", port)
    assert status == 3 and "`linktool resume` goes on" in out
    files = list((folder / "own" / "state" / "unfinished").iterdir())
    assert len(files) == 1
    status, out, _ = told("resume", "--drop", "--port", port)
    assert status == 0 and out.startswith("Forgotten: the enter of") and not files[0].exists()


# ---- map ----


def test_map_draws_what_the_log_knows(told):
    told("enter", "program.txt", "--port", BAD)
    _, out, _ = told("map", "--machine", "heron")
    assert "1000   X" in out and "F000                  R" in out
    _, out, _ = told("map", "1000-10FF", "--machine", "heron")
    assert "1000   XXXX" in out and "Each sign is 16 bytes" in out
    _, out, _ = told("map", "--machine", "dot")
    assert "the profile alone" in out


# ---- the page ----


class Shown(HTMLParser):
    """What a page says, and everything in it that could fetch or run something."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.text: list[str] = []
        self.open: list[str] = []
        self.fetching: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag in (
            "script",
            "link",
            "img",
            "iframe",
            "object",
            "embed",
            "base",
            "form",
            "video",
            "audio",
            "use",
        ):
            self.fetching.append(tag)
        for name, value in attrs:
            if name in ("src", "href", "srcset", "action", "data", "xlink:href") or name.startswith("on"):
                self.fetching.append(f"{tag} {name}={value}")
        if tag not in ("meta", "rect", "circle", "path", "polygon"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in ("rect", "circle", "path", "polygon"):
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


NASTY = (
    '</pre><script>alert("x")</script><img src=http://example.org/a.png onerror=alert(1)>&amp; `a` *b* | c'
)


def test_the_page_holds_everything_and_fetches_nothing(told, folder):
    told("enter", "program.txt", "--port", BAD)
    told("survey", "--port", BAD)
    told("diagnose", "1000-1FFF", "--port", BAD)
    told("note", NASTY)
    told("survey", "--all", "--port", "board:")
    told("enter", "program.txt", "--port", "board:")
    status, out, _ = told("report", "-o", "page.html", "--title", 'The "<Heron>" evening')
    assert status == 0 and "6 entries" in out
    page = (folder / "page.html").read_text("utf-8")
    shown = Shown()
    shown.feed(page)
    shown.close()
    assert shown.open == [] and shown.fetching == []
    assert "url(" not in page and "@import" not in page
    assert "default-src 'none'" in page
    text = "".join(shown.text)
    assert NASTY in text and 'The "<Heron>" evening' in text
    assert "chip K7 (likely)" in text and "mended" in text
    assert "64 bytes proven, every byte read back" in text
    assert page.count("<svg") > 3
    status, _, err = told("report", "-o", "page.html")
    assert status == 2 and "--overwrite" in err


def test_the_same_as_markdown(told, folder):
    told("note", NASTY)
    told("enter", "program.txt", "--port", BAD)
    assert told("report", "-o", "page.md")[0] == 0
    text = (folder / "page.md").read_text("utf-8")
    assert text.startswith("# Bench report\n")
    assert "<script" not in text.replace("\\<script", "")
    assert "1000   XXXX" in text and "# Bench report" in text


def test_a_page_of_one_machine_and_one_evening(told, folder):
    told("note", "belongs to no machine")
    told("survey", "1000-10FF", "--port", "board:machine=dot")
    told("survey", "1000-10FF", "--port", "board:")
    assert told("report", "-o", "dot.html", "--machine", "dot")[0] == 0
    page = (folder / "dot.html").read_text("utf-8")
    assert "Machine dot" in page and "Machine heron" not in page and "belongs to no" not in page


# ---- traces ----


def test_a_trace_is_shown_and_can_be_replayed_as_a_test(told, folder):
    assert told("check", "program.txt", "--port", "board:", "--trace", "talk.trace")[0] == 1
    status, out, _ = told("trace", "show", "talk.trace")
    assert re.search(r"calibrated window=2 period_s=0[.]0\d{1,5} round_trip_s=0[.]0\d{1,6}$", out, re.M)
    lines = out.splitlines()
    assert status == 0 and lines[0].startswith("Recording 1 of 1: ")
    assert any(line.endswith(" > 1000-103F\\r") for line in lines)
    assert any(" < 1000: " in line for line in lines)
    assert any("* begin command=check" in line for line in lines)
    as_json = json.loads(told("trace", "show", "talk.trace", "--json")[1])
    assert as_json["recordings"][0][0]["event"]

    (recording,) = read_trace(folder / "talk.trace")
    port = ReplayPort(recording)
    image = Image.from_bytes(0x1000, bytes.fromhex(PROGRAM.removeprefix("1000: ")))
    report = drive(check(Conversation(load("heron")), image), port)
    port.finish()
    assert len(report.differences) > 50


def test_the_log_is_the_users_own(folder):
    assert BenchLog(folder / "own" / "state" / FILE).read().records == ()


def test_a_killed_entry_through_the_receiver_is_gone_on_with(told, folder):
    """The board lives on in a process of its own; the host is killed in the middle."""
    (folder / "long.bin").write_bytes(bytes((n * 31 + 7) & 0xFF for n in range(300)))
    command = [sys.executable, "-m", "linktool"]
    serve = ["board", "--serve", "tcp:127.0.0.1:0", "--memory-out", "memory.bin"]
    quick = ["--option", "display=480", "--option", "rate=9600"]
    served = subprocess.Popen([*command, *serve, *quick], cwd=folder, stdout=subprocess.PIPE, text=True)
    try:
        assert served.stdout is not None
        port = served.stdout.readline().removeprefix("port: ").strip()
        common = ["--port", port, "--machine", "heron"]
        entering = subprocess.Popen(
            [*command, "enter", "long.bin", "--at", "1000", "--via", "receiver", *common],
            cwd=folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        state, end = folder / "own" / "state" / "unfinished", time.monotonic() + 20
        while time.monotonic() < end and entering.poll() is None and not list(state.glob("*-entry.json")):
            time.sleep(0.05)
        time.sleep(0.7)
        entering.kill()
        entering.wait(10)
        status, out, _ = told("resume", *common)
        assert status == 0 and "Proven: 300 bytes at 1000-112B" in out, out
    finally:
        served.terminate()
        served.wait(10)
        served.stdout.close()
    memory = (folder / "memory.bin").read_bytes()
    assert memory[0x1000:0x112C] == (folder / "long.bin").read_bytes()
