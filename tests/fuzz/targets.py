"""What is fuzzed: for each target a function of bytes, the errors it may raise, and samples to begin from."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from formats import registry
from formats.errors import FormatError
from formats.image import Image, Range
from linktool import arguments, bench_file, bench_log, dialect, folders, library, machine, manifest, trace
from linktool import unfinished as unfinished_work
from linktool.board import faults as board_faults
from linktool.board import url as board_url
from linktool.errors import LinktoolError
from linktool.expectation import judge
from linktool.packed_image import pack, unpack
from linktool.page_states import Page
from linktool.render.terminal import safe
from linktool.saved_survey import Saved, to_text
from linktool.saved_survey import parse as parse_survey
from linktool.screen import Screen
from linktool.shell.line import words
from linktool.talk_keys import TalkKeys
from linktool.telnet import TelnetReader, escaped

ROOT = Path(__file__).parent.parent.parent
MACHINES = ROOT / "linktool" / "machines"
PROGRAMS = ROOT / "programs"
MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None
Refusals = tuple[type[Exception], ...]
OURS: Refusals = (LinktoolError, FormatError)


@dataclass(frozen=True)
class Target:
    """run: must return, or raise one of `refusals`. samples: what well-formed input looks like.
    slow: a call takes milliseconds; the suite gives it fewer examples."""

    name: str
    run: Callable[[bytes], object]
    samples: tuple[bytes, ...]
    refusals: Refusals = OURS
    slow: bool = False


def text(data: bytes) -> str:
    return data.decode("utf-8", "replace")


@cache
def heron() -> machine.Machine:
    return machine.load("heron")


@cache
def letters() -> machine.Machine:
    return machine.load(str(ROOT / "tests" / "linktool" / "letters.toml"))


@cache
def scratch() -> Path:
    """A file of our own, in memory where that can be had."""
    folder = tempfile.mkdtemp(prefix="linktool-fuzz-", dir=MEMORY)
    return Path(folder) / "file"


def read_format(name: str) -> Callable[[bytes], object]:
    """The reader of one format; what it makes must be an image, whose own writing must be read back."""

    def run(data: bytes) -> object:
        loaded = registry.read(data, "fuzzed", format=name, at=0x0280)
        if name in ("intel-hex", "srecord") and loaded.image:
            again = registry.read(registry.write(loaded.image, name), "again", format=name)
            assert again.image == loaded.image
        return loaded

    return run


def recognise(data: bytes) -> object:
    """A file whose name tells nothing."""
    return registry.read(data, "fuzzed", at=None)


def read_answer(data: bytes) -> object:
    """What a machine printed, as the answer to an examine; then what is shown of it."""
    for each in (heron(), letters()):
        came = dialect.received_text(data, each.link.newline)
        wanted = Range(0x0283, 0x02A1)
        reading = dialect.read_rows(each.dialect, wanted, came)
        assert all(address in wanted for address, _ in reading.image.cells())
        shown = dialect.printable(came)
        assert all(c == "\n" or " " <= c <= "_" for c in shown)
    return None


def show(data: bytes) -> object:
    """Anything on its way to the terminal."""
    for encoding in ("utf-8", "latin-1"):
        shown = safe(data.decode(encoding, "replace"))
        assert all(c == "\n" or c.isprintable() for c in shown)
    return None


def screen(data: bytes) -> object:
    board = Screen(40, 24)
    for part in (data[: len(data) // 2], data[len(data) // 2 :]):
        board.feed(dialect.received_text(part, "cr"))
    rows = board.lines()
    assert len(rows) <= 24 and all(len(row) <= 40 for row in rows)
    return rows


def telnet(data: bytes) -> object:
    """Byte by byte and whole must come to the same."""
    whole, parts = TelnetReader(), TelnetReader()
    at_once, _ = whole.feed(data)
    one_by_one = b"".join(parts.feed(bytes([byte]))[0] for byte in data)
    assert at_once == one_by_one
    assert TelnetReader().feed(escaped(data))[0] == data
    return None


def read_program(data: bytes) -> object:
    return manifest.parse(text(data), "program.toml", "fuzzed", "  rts\n", "source.s")


def read_file(load: Callable[[Path], object]) -> Callable[[bytes], object]:
    """A reader that opens its file itself."""

    def run(data: bytes) -> object:
        scratch().write_bytes(data)
        return load(scratch())

    return run


def read_settings(path: Path) -> object:
    config = path.parent / "config"
    config.mkdir(exist_ok=True)
    (config / "settings.toml").write_bytes(path.read_bytes())
    return folders.settings(folders.Folders(config, config, config), {})


def arguments_of(data: bytes) -> object:
    word = text(data)
    kinds: tuple[Callable[[str], object], ...] = (
        arguments.parse_address,
        arguments.parse_range,
        arguments.Address().parse,
        arguments.File().parse,
        arguments.Moment().parse,
        arguments.Number("SECONDS", 0, 100).parse,
        arguments.Number("LINE", 1, 1e6, whole=True).parse,
        arguments.PortName().parse,
    )
    for parse in kinds:
        try:
            parse(word)
        except OURS:
            continue
    return None


def read_faults(data: bytes) -> object:
    return board_faults.parse([text(data)], heron(), 1)


def open_board(data: bytes) -> object:
    name = text(data)
    if "machine=" in name.lower():
        return None  # that is a file's name: the profile loader has a target of its own
    return board_url.open_board("board:" + name)


@cache
def built_program() -> library.Built:
    return library.build(library.load("march", Path("/nowhere")), heron())


def judge_output(data: bytes) -> object:
    return judge(built_program(), dialect.received_text(data, "cr"))


def talk_keys(data: bytes) -> object:
    return TalkKeys(heron()).read(text(data))


def _programs(name: str) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted(PROGRAMS.glob(f"*/{name}")))[:4]


PROFILES = tuple(path.read_bytes() for path in sorted(MACHINES.glob("*.toml")))
IMAGE = Image.from_bytes(0x0280, bytes(range(40)))
HEX = b":10246200464C5549442050524F46494C4500464C33\n:020000040000FA\n:00000001FF\n"
SRECORD = b"S00600004844521B\nS110000048656C6C6F2C20576F726C640A9D\nS5030001FB\nS9030000FC\n"
LINES = b"0280: A9 00 8D\n0288: 4C 00 FF\n"
DUMP = b"0280  A9 00 8D 48 45 4C 4C 4F  |...HELLO|\n*\n02A0\n"
SOURCE = b'loop:   lda #$41\n        jsr $fff1\n        .byte 1, 2, "text"\n        jmp loop\n'
TRACE = (
    b'{"at": 0.0, "event": "open", "port": "board:"}\n{"at": 0.1, "event": "out", "text": "0280"}\n'
    b'{"at": 0.2, "event": "in", "hex": "8D0A"}\n{"at": 0.3, "event": "note", "topic": "x", "facts": {}}\n'
)
LOG = (
    b'{"at": "2026-11-25T19:42:10+01:00", "command": "enter", "machine": "heron", "port": "board:", '
    b'"ok": true, "proven": [{"first": "0280", "last": "0287"}]}\n'
)
UNFINISHED = json.dumps(
    {
        "command": "enter", "machine": "heron", "port": "board:", "began": "2026-11-25T19:42:10+01:00",
        "image": pack(IMAGE), "written": [pack(IMAGE)], "typed": 1, "options": {"run": 640},
    }
).encode()  # fmt: skip
SURVEY = to_text(Saved("heron", datetime(2026, 11, 25, tzinfo=UTC), (Page(2, "ram"),))).encode()
BENCH = b'[[board]]\nport = "/dev/ttyUSB0"\nmachine = "mine"\nlabel = "J. Heron 1"\n'
ANSWER = b"\r0283: 00 01 02 03 04\r0288: 05 06 07 08 09 0A 0B 0C\r="

TARGETS: tuple[Target, ...] = (
    Target("intel-hex", read_format("intel-hex"), (HEX,)),
    Target("srecord", read_format("srecord"), (SRECORD,)),
    Target("lines", read_format("lines"), (LINES,)),
    Target("dump", read_format("dump"), (DUMP,)),
    Target("binary", read_format("binary"), (b"\x00\xff\x10",)),
    Target("source", read_format("source"), (SOURCE,), slow=True),
    Target("binary-with-address", read_format("binary-with-address"), (b"\x80\x02\xa9\x00",)),
    Target("recognise", recognise, (HEX, SRECORD, LINES, DUMP), slow=True),
    Target("profile", lambda data: machine.parse(text(data), "fuzzed"), PROFILES),
    Target("profile-file", read_file(lambda path: machine.load(str(path))), PROFILES[:1]),
    Target("program", read_program, _programs("program.toml")),
    Target("settings", read_file(read_settings), (b'port = "/dev/ttyUSB0"\nmachine = "mine"\n',)),
    Target("bench-file", lambda data: bench_file.parse(text(data), "fuzzed"), (BENCH,)),
    Target("answer", read_answer, (ANSWER, b"\r0280 00 01 02\r+ ", b"\r?\r=")),
    Target("terminal", show, (b"\x1b[2J\x1b]0;title\x07", "caf\u00e9 \u202e".encode())),
    Target("screen", screen, (b"HELLO\rWORLD\x1b[A" * 3,)),
    Target("telnet", telnet, (b"\xff\xfb\x2c\xff\xfa\x2c\x65\x01\xff\xf0A\xff\xff", b"A\xff")),
    Target("trace", lambda data: trace.parse_trace(data, "fuzzed"), (TRACE,)),
    Target("bench-log", bench_log.parse, (LOG, LOG[:-20] + b"\n" + LOG)),
    Target("unfinished", read_file(unfinished_work.load), (UNFINISHED,)),
    Target("packed-image", lambda data: unpack(text(data)), (pack(IMAGE).encode(),), (ValueError,)),
    Target("survey", lambda data: parse_survey(data, "fuzzed"), (SURVEY,)),
    Target("arguments", arguments_of, (b"0280-02FF", b"0280+80", b"yesterday", b"2026-11-25 19:00")),
    Target("shell-line", lambda data: words(text(data)), (b'enter "my file" --at 0280 \\x',)),
    Target("faults", read_faults, (b"stuck:0280:3:0", b"coupling:id:0280.1:up:0281.2:0", b"cut-at:2.5s")),
    Target("board-name", open_board, (b"latency=0.016,fault=stuck:0280:3:0", b"rate=2400,seed=7"), slow=True),
    Target("program-output", judge_output, (b"0280: A9\r=", b"OK\r=")),
    Target("talk-keys", talk_keys, (b"0280\r\x1d",)),
)  # fmt: skip
