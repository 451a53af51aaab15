"""A first connection: which dialect answers, what memory reads, and the profile that comes of it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from formats import files
from linktool import machine as profiles
from linktool.board import open_board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import LinktoolError
from linktool.jobs.setup import Recognition, look, places_to_look, recognise
from linktool.port import Port
from linktool.questions import Questions
from linktool.verbs.setup import Guide
from tests.linktool.shell_rig import Rig

HERON, DOT = profiles.load("heron"), profiles.load("dot")


class Adapter:
    """A port whose bytes are changed on their way out and in."""

    def __init__(
        self,
        port: Port,
        out: Callable[[bytes], bytes] = lambda data: data,
        back: Callable[[bytes], bytes] = lambda data: data,
    ) -> None:
        self.name, self.port, self.out, self.back = "adapter:", port, out, back
        self.sent = b""

    def now(self) -> float:
        return self.port.now()

    def write(self, data: bytes) -> None:
        self.sent += data
        if self.out(data):
            self.port.write(self.out(data))

    def read(self, until: float) -> bytes:
        return self.back(self.port.read(until))

    def close(self) -> None:
        self.port.close()


def recognised(port: Port) -> Recognition:
    return drive(recognise(Conversation(HERON), [DOT, HERON]), port)


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_each_dialect_is_told_from_the_other(name):
    found = recognised(open_board(f"board:machine={name}"))
    assert found.machine == profiles.load(name)


def test_another_prompt_is_taken_over():
    found = recognised(Adapter(open_board("board:"), back=lambda data: data.replace(b"=", b"*")))
    assert found.machine is not None
    dialect = found.machine.dialect
    assert (dialect.ready, dialect.cancel_answer, dialect.error_answer) == ("*", "?\r*", "\r?\r*")
    assert dialect.examine == HERON.dialect.examine


def test_an_adapter_that_sends_line_feeds_alone_is_noticed():
    found = recognised(Adapter(open_board("board:"), back=lambda data: data.replace(b"\r", b"\n")))
    assert found.machine is not None and found.machine.link.newline == "lf"


def test_an_adapter_that_wants_the_top_bit_set_is_noticed():
    # RFC 20: the 7-bit code stands in an octet whose top bit is 0; hosts set it where the target wants it.
    def only_with_top_bit(data: bytes) -> bytes:
        return bytes(byte & 0x7F for byte in data if byte & 0x80)

    found = recognised(Adapter(open_board("board:"), out=only_with_top_bit))
    assert found.machine is not None and found.machine.keys.high_bit


def test_silence_and_garbage_are_no_dialect():
    silent = recognised(Adapter(open_board("board:"), out=lambda data: b""))
    assert silent.machine is None and not any("?" in answer for _, answer in silent.heard)
    garbage = recognised(Adapter(open_board("board:"), back=lambda data: bytes(byte ^ 0x15 for byte in data)))
    assert garbage.machine is None and garbage.heard


def test_a_line_half_typed_before_does_not_matter():
    board = open_board("board:")
    board.write(b"0280: A9 0")
    board.read(board.now() + 2)
    assert recognised(board).machine == HERON


def test_nothing_is_written_to_memory():
    adapter = Adapter(open_board("board:machine=dot"))
    found = recognised(adapter)
    assert found.machine is not None
    talk = Conversation(found.machine)
    talk.now = adapter.now()
    drive(look(talk, (0x0000, 0x1000, 0x8000)), adapter)
    assert b":" not in adapter.sent, "a deposit needs a colon in both dialects"


def test_what_answers_is_told_from_what_reads_as_an_empty_bus():
    board = open_board("board:fault=unsteady:0300-0303:2:0.5")
    talk = Conversation(HERON)
    found = drive(look(talk, (0x0300, 0x0400, 0x5000, 0xFF00)), board)
    verdicts = {each.range.first: each.verdict for each in found}
    # A hole of the simulated board reads as the high half of the address (common practice).
    assert verdicts == {0x0300: "unsteady", 0x0400: "answers", 0x5000: "bare", 0xFF00: "answers"}


def test_places_keep_clear_of_registers():
    places = places_to_look([area.range for area in HERON.areas if area.kind == "io"])
    assert len(places) == 64 and 0x9C00 in places
    assert 0x9F00 not in places_to_look([HERON.areas[-2].range], step=0x100)


# ---- the guide -------------------------------------------------------------------------------------


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path)
    yield rig
    rig.bench.close()


def guided(rig: Rig, *answers: str, suggested: bool = False, name: str | None = None) -> tuple[object, str]:
    """The report, and all that was shown and asked."""
    shown: list[str] = []
    left = iter(answers)
    questions = Questions(shown.append, lambda: next(left, None), suggested=suggested)
    return Guide(rig.bench, questions, name).go(), "".join(shown)


def test_a_rehearsal_ends_with_a_profile_that_works(rig):
    report, shown = guided(rig, suggested=True)
    assert shown.index("Levels:") < shown.index("Waking the machine"), "cautions come first"
    assert report.machine.name == "my-board"  # type: ignore[attr-defined]
    written = profiles.load("my-board", rig.bench.folders.machines)
    assert written.dialect == HERON.dialect and written.areas == HERON.areas
    assert rig.run("enter small.txt") == 0
    assert "Proven: 8 bytes" in rig.out
    assert not rig.bench.folders.settings_file.exists(), "a rehearsal is not remembered unasked"


def test_the_rom_is_kept_as_it_was_read(rig):
    report, _ = guided(rig, suggested=True)
    image = files.load(report.rom).image  # type: ignore[attr-defined]
    monitor = (Path(profiles.__file__).parent.parent / "board" / "monitor_heron.bin").read_bytes()
    assert image.segments[0].first == 0xFF00 and image.segments[0].data == monitor


def test_answers_change_what_is_written(rig):
    before_the_map = ("yes", "two-way", "none", "none", "no")
    memory_map = ("0000-0FFF", "FF00-FFFF", "9F00-9F03", "stack 0100-01FF")
    report, shown = guided(rig, *before_the_map, *memory_map, "bench-two", "the second one", "yes")
    path = Path(report.profile)  # type: ignore[attr-defined]
    text = tomllib.loads(path.read_text())
    assert text["machine"]["title"] == "the second one"
    assert [(area["first"], area["kind"]) for area in text["area"]] == [
        ("0000", "ram"), ("9F00", "io"), ("FF00", "rom"),
    ]  # fmt: skip
    assert [each["name"] for each in text["reserved"]] == ["stack"]
    assert "chip" not in text, "another board's chips stand elsewhere"
    settings = tomllib.loads(rig.bench.folders.settings_file.read_text())
    assert settings == {"port": "board:", "machine": "bench-two"}
    assert "!" not in shown


def test_an_old_profile_is_not_replaced_unasked(rig):
    guided(rig, suggested=True, name="mine")
    before = (rig.bench.folders.machines / "mine.toml").read_text()
    with pytest.raises(LinktoolError, match="there already"):
        guided(rig, suggested=True, name="mine")
    with pytest.raises(LinktoolError, match="there already"):
        guided(rig, "yes", "1", "none", "none", "no", "", "", "", "", "no", name="mine")
    assert (rig.bench.folders.machines / "mine.toml").read_text() == before


def test_answers_that_end_leave_nothing_behind(rig):
    with pytest.raises(LinktoolError, match="Nothing was written"):
        guided(rig, "yes", "two-way", "none", "none", "no", "0000-0FFF")
    assert not rig.bench.folders.config.exists()


def test_cautions_refused_end_it_before_the_port_is_opened(rig):
    with pytest.raises(LinktoolError, match="nothing was sent"):
        guided(rig, "no")
    assert rig.bench.port is None


def test_areas_that_share_an_address_are_refused_where_they_are_given(rig):
    with pytest.raises(LinktoolError, match="meets 0000-0FFF"):
        guided(rig, "yes", "two-way", "none", "none", "no", "0000-0FFF", "0800-08FF")


def test_a_one_way_adapter_gets_a_timed_profile(rig):
    report, shown = guided(rig, "yes", "one-way", "heron", "yes", "", "", "", "", "timed", "", "no")
    link = report.machine.link  # type: ignore[attr-defined]
    assert not link.echo and link.pacing == "timed"
    assert "Did ? and a new line, then = appear?" in shown
    assert rig.run("enter small.txt --machine timed") == 0
    shown = rig.out
    assert "Sent, not verified" in shown and "|=0280: A9 00 8D 00 03 4C 00 FF" in shown
    assert rig.run("check") == 2
    assert "one-way" in rig.err


def test_the_verb_takes_its_answers_from_a_pipe(rig, monkeypatch, capsys):
    import io

    from linktool.cli import main

    monkeypatch.setenv("LINKTOOL_FOLDER", str(rig.folder / "own"))
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    assert main(["setup", "--port", "board:", "--json"]) == 2
    assert "no answer came to the question: Adapter" in json.loads(capsys.readouterr().out)["error"]
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["setup", "--port", "board:", "--json", "--yes", "--name", "piped"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["machine"] == "piped" and len(facts["looked"]) == 64


def test_symbols_of_another_rom_are_only_proposed(rig):
    # NMI's vector is never used here: a ROM that works, but is not the one the symbols belong to
    rig.bench.use(port="board:fault=rom-bad:FFFA:00")
    guided(rig, suggested=True)
    path = rig.bench.folders.machines / "my-board.toml"
    assert profiles.load("my-board", path.parent).symbols == {}
    text = path.read_text("utf-8")
    assert '# char_out = "FFF1"' in text and "look each up in" in text
    path.write_text("".join(line.removeprefix("# ") if "= \"" in line or "[symbols]" in line else line
                            for line in text.splitlines(keepends=True)))  # fmt: skip
    assert profiles.load("my-board", path.parent).symbols == HERON.symbols
