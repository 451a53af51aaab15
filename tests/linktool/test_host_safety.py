r"""The host is safe: nothing from the wire or a file reaches the terminal raw, names stay in their folders,
pages are escaped, sockets listen on loopback, and no file's text is ever run.

ESC sequences are those of ECMA-48; markup is HTML. What is hostile here is put wherever text can come from.
"""

from __future__ import annotations

import ast
import io
import json
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest

from formats.image import Range
from linktool import bench_log, library, port_lock, unfinished
from linktool import machine as profiles
from linktool.bench_log import BenchLog, Record
from linktool.board.doors import open_door
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import LinktoolError, UsageError
from linktool.folders import folders
from linktool.jobs.read import read
from linktool.jobs.run import run
from linktool.render.terminal import Terminal
from linktool.trace import Entry, TraceFile
from tests.linktool.fake_monitor import FakeMonitor

HERON = profiles.load("heron")
ROOT = Path(__file__).parent.parent.parent
ESCAPES = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e\x08\x7f"
MARKUP = "<script>alert(1)</script>\"'&"
RAW = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """All a command prints, which must be fit for any terminal."""
    main(list(words))
    caught = capsys.readouterr()
    for text in (caught.out, caught.err):
        found = RAW.search(text)
        assert found is None, f"{found.group()!r} in {text[max(0, found.start() - 40) : found.end() + 20]!r}"
    assert "Traceback" not in caught.err
    return caught.out + caught.err


def hostile_profile(folder: Path) -> Path:
    text = (ROOT / "linktool" / "machines" / "heron.toml").read_text("utf-8")
    quoted = json.dumps(ESCAPES + MARKUP)
    text = text.replace('"Heron training board (simulated)"', quoted)
    for words in ("RAM bank 0, row J", "The demonstration machine of the Heron workshop.", "4096 x 1 RAM"):
        text = text.replace(f'"{words}"', quoted)
    text = text.replace('"the processor\'s stack"', quoted)
    path = folder / "hostile.toml"
    path.write_text(text, "utf-8")
    return path


# ---- files ---------------------------------------------------------------------------------------------

BAD_FILES = {
    "hex": f":10246200{ESCAPES}\n".encode(),
    "s19": f"S1{ESCAPES}\n".encode(),
    "txt": f"0280: A9 {ESCAPES}\n".encode(),
    "s": f'  lda {ESCAPES}\n  {ESCAPES}: .byte "{ESCAPES}\n'.encode(),
    "dump": f"0280  A9 00 |{ESCAPES}|\n".encode(),
    "toml": f'[machine]\nname = "{ESCAPES}"\n{ESCAPES} = 1\n'.encode(),
}


@pytest.mark.parametrize("suffix", BAD_FILES)
@pytest.mark.parametrize("command", ["plan", "convert", "sheet", "check"])
def test_a_file_s_text_in_a_complaint(capsys, own_folder, suffix, command):
    (own_folder / f"bad.{suffix}").write_bytes(BAD_FILES[suffix])
    more = ["out.hex"] if command == "convert" else ["--machine", "heron", "--port", "board:"]
    assert shown(capsys, command, f"bad.{suffix}", *more)
    if suffix == "toml":
        assert shown(capsys, "machines", f"bad.{suffix}")


@pytest.mark.parametrize(
    "words",
    [
        ["plan", f"absent{ESCAPES}.hex", "--machine", "heron"],
        ["plan", "a.hex", "--machine", ESCAPES],
        ["enter", "a.hex", "--port", ESCAPES],
        ["enter", "a.hex", "--port", f"board:{ESCAPES}=1"],
        ["enter", "a.hex", "--port", f"board:fault={ESCAPES}:1"],
        ["enter", "a.hex", "--port", f"socket://{ESCAPES}:1", "--machine", "heron"],
        ["enter", "a.hex", "--port", f"/dev/{ESCAPES}", "--machine", "heron"],
        ["enter", "a.hex", "--at", ESCAPES],
        ["enter", "a.hex", "--force", ESCAPES, "--port", "board:"],
        ["enter", "a.hex", "--bench", f"bench{ESCAPES}.toml"],
        ["read", ESCAPES, "--port", "board:"],
        ["read", "0280", "-o", f"x{ESCAPES}.hex", "--port", "board:"],
        ["programs", "show", ESCAPES],
        ["programs", "test", "stars", "--set", f"{ESCAPES}=1", "--port", "board:"],
        ["board", "--serve", ESCAPES],
        ["log", "--find", ESCAPES],
        ["trace", "show", f"t{ESCAPES}.jsonl"],
        [ESCAPES],
        ["enter", f"--{ESCAPES}"],
    ],
)
def test_a_name_in_a_complaint(capsys, own_folder, words):
    (own_folder / "a.hex").write_text(":0102800000FD\n:00000001FF\n")
    assert shown(capsys, *words)


def test_a_file_whose_name_has_control_characters_may_be_used(capsys, own_folder):
    name = "odd\x1b[31m\n.txt"
    (own_folder / name).write_text("0280: A9 00\n")
    assert "2 bytes" in shown(capsys, "plan", name, "--machine", "heron")
    assert "2 bytes" in shown(capsys, "convert", name, "out.hex")


def test_a_profile_s_titles_and_labels(capsys, own_folder):
    path = hostile_profile(own_folder)
    (own_folder / "linktool" / "config" / "machines").mkdir(parents=True)
    listed = own_folder / "linktool" / "config" / "machines" / "hostile.toml"
    listed.write_text(path.read_text("utf-8").replace('name = "heron"', 'name = "hostile"'), "utf-8")
    assert "hostile" in shown(capsys, "machines")
    assert "memory" in shown(capsys, "machines", str(path))
    (own_folder / "low.bin").write_bytes(bytes(8))
    words = ["--machine", str(path), "--port", "board:"]
    assert "stack" in shown(capsys, "enter", "low.bin", "--at", "0100", *words)
    for command in ("survey", "diagnose"):
        shown(capsys, command, "1000-10FF", "--machine", str(path), "--port", "board:fault=stuck-chip:K7:0")


def changed(text: str, quoted: str) -> str:
    """A program's description with hostile texts."""
    return re.sub(r'(?m)^(title|question|text) = ".*"$', lambda match: f"{match[1]} = {quoted}", text)


def test_a_program_s_texts(capsys, own_folder):
    folder = own_folder / "linktool" / "data" / "programs" / "hostile"
    folder.mkdir(parents=True)
    shipped = library.shipped_folder() / "tick"
    (folder / "source.s").write_bytes((shipped / "source.s").read_bytes())
    text = (shipped / "program.toml").read_text("utf-8")
    quoted = json.dumps(ESCAPES.replace("\u202e", "") + MARKUP)
    (folder / "program.toml").write_text(changed(text, quoted), "utf-8")
    shown(capsys, "programs")
    shown(capsys, "programs", "show", "hostile", "--machine", "heron")


def test_a_bench_log_and_a_trace_that_somebody_wrote(capsys, own_folder):
    log = BenchLog(folders().state / bench_log.FILE)
    at, facts = datetime(2026, 11, 25, tzinfo=UTC), {"text": ESCAPES + MARKUP}
    log.append(Record(at, f"note{ESCAPES}", ESCAPES, MARKUP, facts))
    log.append(Record(at, "note", "heron", "board:", facts))
    assert "note" in shown(capsys, "log")
    shown(capsys, "log", "1")
    with TraceFile(own_folder / "t.jsonl", ESCAPES, 0.0) as trace:
        trace(Entry(0.1, "in", ESCAPES.encode("utf-8")))
        trace(Entry(0.2, "note", b"", {"topic": ESCAPES, "facts": {ESCAPES: ESCAPES}}))
    shown(capsys, "trace", "show", "t.jsonl")


# ---- the wire ------------------------------------------------------------------------------------------

PRINTS_ALL = bytes.fromhex("A200 2C039F 30FB 8A 8D029F E8 D0F4 4C0DFF")
"""ldx #0; wait for the display; txa; sta display_data; inx; bne; jmp monitor: prints codes 00 to FF."""


def test_what_a_program_prints(capsys, own_folder):
    (own_folder / "all.bin").write_bytes(PRINTS_ALL)
    said = shown(capsys, "enter", "all.bin", "--at", "0300", "--run", "--watch", "20", "--port", "board:")
    assert "ABCDEFG" in said
    shown(capsys, "screen", "--listen", "0.1", "--port", "board:")


class Babbling(FakeMonitor):
    """Answers everything with sequences for a terminal."""

    def read(self, until: float) -> bytes:
        super().read(until)
        return ESCAPES.encode("utf-8")[:3] if self._now < 30 else b""


def test_what_a_machine_says_instead_of_its_prompt():
    for job in (read(Conversation(HERON), (Range(0x0280, 0x0280),)), run(Conversation(HERON), 0x0280, 1.0)):
        report = drive(job, Babbling())
        assert report.exit_status == 3
        for as_json in (False, True):
            out = io.StringIO()
            Terminal(as_json, out, out).show(report)
            assert out.getvalue() and not RAW.search(out.getvalue())


# ---- pages ---------------------------------------------------------------------------------------------


class Tags(HTMLParser):
    """Which elements a page has; none may have a handler of events."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        assert not any(name.startswith("on") for name, _ in attrs)


def tags_of(path: Path) -> set[str]:
    parser = Tags()
    parser.feed(path.read_text("utf-8"))
    return parser.seen


def test_a_sheet_and_a_report_are_escaped(capsys, own_folder):
    path = hostile_profile(own_folder)
    name = "<b>x&.bin"
    (own_folder / name).write_bytes(bytes(range(16)))
    shown(capsys, "sheet", name, "--at", "0300", "--machine", str(path), "-o", "sheet.html")
    assert not {"script", "b"} & tags_of(own_folder / "sheet.html")
    shown(capsys, "enter", name, "--at", "0300", "--machine", str(path), "--port", "board:")
    shown(capsys, "note", MARKUP + ESCAPES, "--machine", str(path))
    shown(capsys, "report", "-o", "page.html", "--title", MARKUP)
    page = (own_folder / "page.html").read_text("utf-8")
    assert "script" not in tags_of(own_folder / "page.html") and "<script>alert" not in page
    assert "&lt;script&gt;" in page


# ---- sockets -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["tcp:0.0.0.0:0", "tcp:[::]:0"])
def test_a_socket_listens_on_loopback_unless_told(capsys, where):
    with pytest.raises(LinktoolError):
        open_door(where)
    assert "allow" in shown(capsys, "board", "--serve", where)
    door = open_door("tcp:127.0.0.1:0")
    assert door.name.startswith("socket://127.0.0.1:")
    door.hang_up()


def test_nothing_else_listens():
    """The only place that listens is the board's door."""
    found = [path for path in sources() if re.search(r"\.listen\(\d|\.bind\(", path.read_text("utf-8"))]
    assert [path.relative_to(ROOT).as_posix() for path in found] == ["linktool/board/doors.py"]


# ---- nothing is run ------------------------------------------------------------------------------------


def sources() -> list[Path]:
    return [*sorted((ROOT / "linktool").rglob("*.py")), *sorted((ROOT / "formats").rglob("*.py"))]


BARRED_MODULES = {"subprocess", "pickle", "marshal", "shelve", "pty", "runpy", "code", "multiprocessing"}
BARRED_CALLS = {"eval", "exec", "compile", "system", "popen", "execv", "execve", "spawnv", "startfile"}


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_text_is_ever_run(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            assert not BARRED_MODULES & {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert (node.module or "").partition(".")[0] not in BARRED_MODULES
        elif isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name):
                assert called.id not in BARRED_CALLS
            elif isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
                if called.value.id == "re" and called.attr == "compile":
                    continue
                assert called.attr not in BARRED_CALLS, ast.unparse(node)


# ---- names stay in their folders -----------------------------------------------------------------------

LEAVING = ["../evil", "..", "a/b", "/etc/passwd", "a\\b", "C:x", "", ".hidden", "a\0b", "x" * 300, "a\nb"]


@pytest.mark.parametrize("name", LEAVING)
def test_a_program_s_name_cannot_leave_the_folder(own_folder, name):
    with pytest.raises(UsageError):
        library.add(own_folder / "programs", name, "  rts\n", {})
    with pytest.raises(UsageError):
        library.load(name, own_folder / "programs")
    assert not (own_folder / "programs").exists() and not (own_folder / "evil").exists()


@pytest.mark.parametrize("name", [name for name in LEAVING if name])
def test_a_profile_s_name_cannot_leave_the_folder(capsys, own_folder, name):
    assert shown(capsys, "setup", "--yes", "--name", name, "--port", "board:")
    machines = own_folder / "linktool" / "config" / "machines"
    assert not machines.exists() or not list(machines.iterdir())
    assert not list(own_folder.glob("evil*"))


@pytest.mark.parametrize("name", [name for name in LEAVING if "\0" not in name])
def test_files_kept_for_a_port_stay_in_their_folder(tmp_path, name):
    kept = unfinished.file_of(tmp_path, name, name, True)
    assert kept.parent == tmp_path / unfinished.FOLDER and re.fullmatch(r"[\w.-]+", kept.name)
    with_lock = tmp_path / "locks"
    lock = port_lock.PortLock.take(name, folder=with_lock)
    assert all(re.fullmatch(r"[\w.-]+", path.name) for path in with_lock.iterdir())
    lock.release()


def test_a_program_of_the_library_cannot_bring_in_other_files(own_folder):
    (own_folder / "secret").write_text("  .byte 1\n")
    folder = own_folder / "programs" / "nosy"
    folder.mkdir(parents=True)
    (folder / "program.toml").write_bytes((library.shipped_folder() / "tick" / "program.toml").read_bytes())
    (folder / "source.s").write_text(f'  .include "{own_folder / "secret"}"\n  rts\n')
    program = library.load("nosy", own_folder / "programs")
    with pytest.raises((UsageError, Exception), match="cannot include"):
        library.build(program, profiles.load("heron"))


def test_the_demonstration_writes_no_file(own_folder, capsys):
    assert main(["demo"]) == 0
    capsys.readouterr()
    assert [path.name for path in own_folder.iterdir()] in ([], ["linktool"])
