"""enter through the receiver, as a whole: what it takes, what it says, and what it leaves behind."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random

import pytest

from formats.image import Image, Range
from linktool.actions import Note
from linktool.board import open_board
from linktool.board.board import Board
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.read import read
from linktool.jobs.report import Report
from linktool.jobs.resident_enter import enter, unlike
from linktool.jobs.resident_naming import joined
from linktool.jobs.run import run
from linktool.machine import load, with_link
from linktool.resident.residence import residence

HERON = with_link(load("heron"), rate=9600)
DATA = Random(1).randbytes(4096)
WHOLE = Image.from_bytes(0x0280, DATA)
IMAGE = Image.from_bytes(0x0280, DATA[:1200])


def talk_and_board(options: str = "") -> tuple[Conversation, Board]:
    return Conversation(HERON), open_board("board:rate=9600" + (f",{options}" if options else ""))


def holds(board: Board, image: Image) -> bool:
    return all(board.memory(s.first, s.last) == s.data for s in image.segments)


def test_four_kibibytes_are_entered_and_proven_in_seconds():
    talk, board = talk_and_board()
    report = drive(enter(talk, WHOLE, "board:", via="receiver"), board)
    assert report.ok and report.exit_status == 0 and holds(board, WHOLE)
    assert (report.via, report.proof, report.proven) == ("receiver", "checksum", (Range(0x0280, 0x127F),))
    assert report.effort.seconds < 24
    assert "3F00-3FFF" in report.remarks[0] and "0028-00EF" in report.remarks[0]
    assert drive(read(talk, (Range(0x0280, 0x0287),)), board).image.segments[0].data == DATA[:8]


def test_only_what_differs_is_sent_again_and_all_is_summed_again():
    talk, board = talk_and_board()
    drive(enter(talk, WHOLE, via="receiver"), board)
    changed = bytearray(DATA)
    for at in range(1000, 1010):
        changed[at] ^= 0x5A
    other = Image.from_bytes(0x0280, bytes(changed))
    before = board.statistics().keys_sent
    report = drive(enter(talk, other), board)
    assert report.via == "receiver" and report.ok and holds(board, other)
    assert report.typed == (Range(0x0280 + 1000, 0x0280 + 1009),)
    assert report.proven == (Range(0x0280, 0x127F),)
    assert report.effort.seconds < 5 and board.statistics().keys_sent - before < 200


def test_what_is_not_there_any_more_is_sent_after_all():
    talk, board = talk_and_board()
    drive(enter(talk, IMAGE, via="receiver"), board)
    board.poke(0x0400, bytes(700))
    report = drive(enter(talk, IMAGE), board)
    assert report.ok and holds(board, IMAGE)
    assert report.typed == (Range(0x0380, 0x067F),) or sum(map(len, report.typed)) == 1024


def test_bytes_alike_between_two_that_differ_are_sent_along_when_they_are_few():
    known = Image.from_bytes(0x0300, bytes(100))
    cells = dict(known.cells()) | {0x0300: 1, 0x0305: 2, 0x0340: 3}
    image = Image.from_cells(cells.items())
    assert [s.range for s in unlike(known, image).segments] == [Range(0x300, 0x305), Range(0x340, 0x340)]
    assert unlike(image, image) == Image() and unlike(Image(), image) == image
    apart = Image.from_runs([(0x0300, b"\1"), (0x0303, b"\1")])
    assert unlike(known, apart) == apart


def test_nothing_to_change_is_only_summed():
    talk, board = talk_and_board()
    drive(enter(talk, IMAGE, via="receiver"), board)
    report = drive(enter(talk, IMAGE), board)
    assert report.ok and report.typed == () and report.proven == (Range(0x0280, 0x072F),)
    assert report.effort.seconds < 3.5


@pytest.mark.parametrize("machine", ["heron", "dot"])
@pytest.mark.parametrize(
    "runs",
    [
        [(0x0300, 1)],
        [(0x02FF, 2)],
        [(0x0280, 257)],
        [(0x0300, 256), (0x0500, 256)],
        [(0x0400 + 20 * number, number % 11 + 1) for number in range(12)],
        [(0x1EFF - 299, 300)],
        [(0x0010, 4), (0x0800, 40)],
    ],
    ids=["byte", "two pages", "one over", "pages", "many", "edge", "page zero"],
)
def test_images_of_every_shape_go_in_and_nothing_else_does(machine, runs):
    board = open_board(f"board:machine={machine},rate=9600")
    talk = Conversation(with_link(load(machine), rate=9600))
    draw = Random(5)
    image = Image.from_runs((first, draw.randbytes(count)) for first, count in runs)
    before = board.memory(0, 0xFFFF)
    report = drive(enter(talk, image, via="receiver"), board)
    assert report.via == "receiver", report.remarks
    assert report.ok and holds(board, image)
    after = board.memory(0, 0xFFFF)
    places = (
        [s.range for s in image.segments] + [r.range for r in talk.machine.reserved] + residence(talk).touched
    )
    allowed = {at for place in places for at in range(place.first, place.last + 1)}
    assert [at for at in range(0x10000) if before[at] != after[at] and at not in allowed] == []


def test_without_check_nothing_is_called_proven():
    talk, board = talk_and_board()
    report = drive(enter(talk, IMAGE, check=False, via="receiver"), board)
    assert report.ok and report.proof == "none" and report.proven == ()
    assert report.typed == (Range(0x0280, 0x072F),) and holds(board, IMAGE)


def test_an_image_that_leaves_no_room_is_typed_and_the_report_says_why():
    talk, board = talk_and_board("display=3000")
    image = Image.from_runs([(0x0280, bytes(8)), (0x1000, bytes(8))])
    residence(talk).known = Image.from_bytes(0x0300, bytes(0x3D00))
    report = drive(enter(talk, image, via="receiver"), board)
    assert report.ok and report.via == "typed" and report.proof == "read back" and holds(board, image)
    assert "no room for 172 bytes" in report.remarks[0]


def test_what_reaches_into_reserved_places_is_typed_even_when_the_receiver_is_asked_for():
    talk, board = talk_and_board()
    report = drive(enter(talk, Image.from_bytes(0x0278, bytes(16)), via="receiver"), board)
    assert report.via == "typed" and "line-buffer" in report.remarks[0]


def test_what_was_entered_before_is_not_overwritten_by_the_routines():
    talk, board = talk_and_board()
    kept = Image.from_bytes(0x3F80, bytes(range(40)))
    drive(enter(talk, kept, via="typed"), board)
    report = drive(enter(talk, IMAGE, via="receiver"), board)
    assert report.ok and holds(board, kept) and holds(board, IMAGE)
    assert residence(talk).routines is not None
    assert not residence(talk).routines.placement.code.overlap(Range(0x3F80, 0x3FA7))


def test_an_image_where_the_routines_stand_moves_them():
    talk, board = talk_and_board()
    drive(enter(talk, IMAGE, via="receiver"), board)
    over = Image.from_bytes(0x3F10, Random(2).randbytes(0xF0))
    report = drive(enter(talk, over, via="receiver"), board)
    assert report.ok and holds(board, over) and "3F00" not in " ".join(report.remarks)


def test_routines_that_a_program_has_overwritten_are_found_out_and_put_there_anew():
    talk, board = talk_and_board()
    drive(enter(talk, IMAGE, via="receiver"), board)
    board.poke(0x3F40, b"\xea\xea\xea")
    notes: list[Note] = []
    report = drive(enter(talk, IMAGE), board, notes=lambda note, at: notes.append(note))
    assert report.ok and report.via == "receiver"
    assert [n.facts["state"] for n in notes if n.topic == "resident"] == ["changed", "proven"]


def test_a_program_that_ran_in_between_leaves_them_usable():
    talk, board = talk_and_board()
    program = Image.from_runs([(0x0300, bytes.fromhex("A9 2A 20 03 FF 4C 00 FF"))])
    symbols = HERON.symbols
    jump = bytes([0xA9, 0x2A, 0x20, symbols["char_out"] & 0xFF, symbols["char_out"] >> 8])
    jump += bytes([0x4C, symbols["monitor"] & 0xFF, symbols["monitor"] >> 8])
    program = Image.from_runs([(0x0300, jump), (0x0400, DATA[:600])])
    drive(enter(talk, program, via="receiver"), board)
    assert "*" in drive(run(talk, 0x0300, 2.0), board).output
    report = drive(enter(talk, program), board)
    assert report.ok and report.effort.seconds < 4


def test_where_memory_does_not_hold_the_routines_the_next_place_is_tried():
    talk, board = talk_and_board("fault=stuck:3F30:3:0,fault=stuck:3F31:2:1,fault=stuck:3F60:1:1")
    report = drive(enter(talk, IMAGE, via="receiver"), board)
    assert report.ok and report.via == "receiver" and "2F00-2FFF" in " ".join(report.remarks)


def test_a_bad_bit_in_the_image_is_named():
    talk, board = talk_and_board("fault=stuck:0345:4:0")
    image = Image.from_bytes(0x0280, bytes([0xFF]) * 600)
    report = drive(enter(talk, image, via="receiver"), board)
    (finding,) = report.differences
    assert (finding.address, finding.expected, finding.found, finding.kind) == (0x0345, 0xFF, 0xEF, "memory")
    assert report.exit_status == 1
    assert 0x0345 not in {at for part in report.proven for at in range(part.first, part.last + 1)}


def test_an_address_line_at_fault_is_not_proven_however_often_it_is_written():
    talk, board = talk_and_board("fault=mirror:1000-17FF:0800-0FFF")
    report = drive(enter(talk, WHOLE, via="receiver"), board)
    assert not report.ok
    for part in report.proven:
        for at in range(part.first, part.last + 1):
            assert board.memory(at, at)[0] == WHOLE.get(at)


@pytest.mark.parametrize("at_key", [40, 420, 500, 1500, 2150])
def test_a_reset_at_any_key_ends_proven_or_says_what_is_not(at_key):
    talk, board = talk_and_board(f"fault=reset-at:{at_key}")
    report = drive(enter(talk, IMAGE, via="receiver"), board)
    assert report.ok and holds(board, IMAGE), (report.lost, report.differences[:3])


def test_an_adapter_that_holds_its_strobe_is_found_out():
    talk, board = talk_and_board("strobe=0.005")
    report = drive(enter(talk, Image.from_bytes(0x0280, DATA[:700]), via="receiver"), board)
    assert report.ok and report.via == "receiver"
    assert any("ms between two keys" in remark for remark in report.remarks)
    assert 0.005 <= (residence(talk).gap_s or 0) < 0.0065


def test_ctrl_c_in_the_middle_of_a_block_leaves_the_monitor_at_its_prompt():
    for name, seconds in [
        *((name, at) for name in ("heron", "dot") for at in (2.64, 2.70, 2.78, 9.74, 9.8, 10.64)),
        *(("heron", at) for at in (0.3, 1.5, 5.0, 9.3, 10.9, 11.6)),
    ]:
        talk = Conversation(with_link(load(name), rate=9600))
        board = open_board(f"board:machine={name},rate=9600")
        report = drive(
            enter(talk, IMAGE, via="receiver"), board, stop=lambda b=board, s=seconds: int(b.now() >= s)
        )
        assert report.stopped and report.exit_status == 130 and not report.lost, (seconds, report.lost)
        assert talk.inbox == ""
        again = drive(read(talk, (Range(0x0280, 0x0283),)), board)
        assert again.ok and again.effort.seconds < 2


class Died(Exception):
    """The host went away."""


@pytest.mark.parametrize("seconds", [2.72, 9.9, 10.6, 11.2])
def test_a_host_that_died_is_no_reason_to_press_the_reset_key(seconds):
    """The routine that still runs is brought back by waking."""
    talk, board = talk_and_board()

    def dies() -> int:
        if board.now() >= seconds:
            raise Died
        return 0

    with pytest.raises(Died):
        drive(enter(talk, IMAGE, via="receiver"), board, stop=dies)
    report = drive(enter(Conversation(HERON), Image.from_bytes(0x0300, b"HERON"), via="typed"), board)
    assert report.ok, report.lost


def test_a_cut_link_is_said_and_what_was_sent_is_told():
    talk, board = talk_and_board("fault=cut-at:1600")
    report: Report = drive(enter(talk, IMAGE, via="receiver"), board)
    assert report.exit_status == 3 and report.lost and report.proven == ()
    assert report.typed and report.typed[0].first == 0x0280


def test_one_per_cent_of_faults_either_way_ends_proven():
    faults = (
        "fault=keys-lost:0.005,fault=keys-changed:0.005,fault=prints-lost:0.005,fault=prints-changed:0.005"
    )
    talk, board = talk_and_board(f"seed=4,{faults}")
    report = drive(enter(talk, IMAGE, via="receiver"), board)
    assert report.ok and report.via == "receiver" and holds(board, IMAGE)
    assert any("did not arrive whole" in remark for remark in report.remarks)
    assert report.effort.seconds < 50


def test_ranges_are_joined():
    assert joined([Range(5, 9), Range(0, 4), Range(8, 12), Range(20, 21)]) == (Range(0, 12), Range(20, 21))


# ---- the command line ------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "big.bin").write_bytes(DATA)
    (tmp_path / "small.bin").write_bytes(DATA[:30])
    return tmp_path


def test_the_faster_way_is_chosen_and_the_other_can_be_asked_for(folder, capsys):
    for name, via, chosen in (
        ("big.bin", "auto", "receiver"),
        ("small.bin", "auto", "typed"),
        ("small.bin", "receiver", "receiver"),
    ):
        assert main(["enter", name, "--at", "1000", "--port", "board:rate=9600", "--via", via, "--json"]) == 0
        facts = json.loads(capsys.readouterr().out)
        assert facts["via"] == chosen
        assert facts["proof"] == ("read back" if chosen == "typed" else "checksum")


def test_what_an_earlier_command_entered_is_left_alone_where_there_is_other_room(folder, capsys):
    words = ["--port", "board:rate=9600", "--json"]
    assert main(["enter", "small.bin", "--at", "3F80", *words]) == 0
    capsys.readouterr()
    assert main(["enter", "big.bin", "--at", "0280", *words]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["via"] == "receiver" and "3E80-3F7F" in facts["warnings"][0]
    log = next((folder / "linktool").rglob("bench-log.jsonl"))
    log.write_text(log.read_text().replace('"3F80"', '"0600"') + 'no record\n{"typed": 3}\n')
    assert main(["enter", "big.bin", "--at", "0280", *words]) == 0
    assert "3F00-3FFF" in json.loads(capsys.readouterr().out)["warnings"][0]


def test_the_report_says_how_it_was_proven_and_what_was_overwritten(folder, capsys):
    assert main(["enter", "big.bin", "--at", "0280", "--port", "board:rate=9600"]) == 0
    shown = capsys.readouterr().out
    assert "Proven: 4,096 bytes at 0280-127F (the machine's own checksum agrees)." in shown
    assert "the routines stand at 3F00-3FFF and use 0028-00EF in page zero: what was there is gone" in shown


def test_plan_shows_both_times(folder, capsys):
    assert main(["plan", "big.bin", "--at", "0280", "--machine", "heron"]) == 0
    shown = capsys.readouterr().out
    assert "At best 3 min 24 s to type" in shown
    assert "Through the receiver: 36" in shown and "`--via auto` chooses the receiver." in shown
    assert main(["plan", "small.bin", "--at", "0280", "--machine", "heron", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)["receiver"]
    assert facts["auto"] == "typed" and facts["seconds"] > facts["typed_seconds"]
