"""Every program on the simulated board: its ROM, its display and keyboard, its adapter, on both machines,
in good order and with the fault it exists to find."""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import beat, library, machine
from linktool.board.adapter import Wire
from linktool.board.board import Board
from tests.programs.on_board import run
from tests.programs.test_programs import MACHINES, NAMES, STRETCHED
from tests.programs.test_screens import screen

QUICK = {"address": {"last": 0x10FF}, **STRETCHED}


def verdict(name: str, machine_name: str, *faults: str, **parameters: int) -> library.Verdict:
    target = machine.load(machine_name)
    built = library.build(library.load(name), target, parameters=parameters)
    return library.judge(built, run(Board(target, faults=faults), built).text)


@pytest.mark.parametrize("machine_name", MACHINES)
@pytest.mark.parametrize("name", [name for name in NAMES if name != "tick"])
def test_a_board_in_order_passes(name: str, machine_name: str) -> None:
    target = machine.load(machine_name)
    built = library.build(library.load(name), target, parameters=QUICK.get(name, {}))
    board = Board(target)
    printed = run(board, built)
    held = library.judge(built, printed.text)
    assert held.ok, held.sentence
    assert printed.ended
    assert board.statistics().prints_lost == 0
    for address, value in built.leaves.cells():
        assert board.memory(address, address) == bytes([value])


@pytest.mark.parametrize(("machine_name", "clock_hz"), [("heron", 900e3), ("dot", 1e6), ("heron", 1023e3)])
def test_the_tick_measures_the_board_s_clock(machine_name: str, clock_hz: float) -> None:
    """Through an adapter of 2400 baud, 16 ms and up to 16 ms more."""
    target = machine.load(machine_name)
    built = library.build(library.load("tick"), target)
    said = built.program.beat
    assert said is not None
    board = Board(target, clock_hz=clock_hz, wire=Wire(2400, 10, latency_s=0.016, jitter_s=0.016))
    printed = run(board, built)
    assert library.judge(built, printed.text).ok
    arrivals = [
        at for at, character in zip(printed.arrivals_s, printed.text, strict=True) if character == "."
    ]
    clock = beat.clock(said, arrivals)
    assert clock is not None
    assert clock.hz == pytest.approx(clock_hz, rel=0.005)
    assert abs(clock.hz / clock_hz - 1) <= clock.within <= 0.005
    assert board.statistics().prints_lost == 0


@pytest.mark.parametrize("machine_name", MACHINES)
def test_the_ruler_shows_40_by_24(machine_name: str) -> None:
    target = machine.load(machine_name)
    built = library.build(library.load("ruler"), target)
    printed = run(Board(target), built)
    ruler = printed.text.removesuffix("\r" + target.dialect.ready)
    shown = screen("OLD TEXT\n" * 30 + ruler.replace("\r", "\n"), 40, 24, late_wrap=False)
    assert [row[:2] for row in shown] == [f"{row:02d}" for row in range(1, 25)]
    assert [len(row) for row in shown] == [40] * 23 + [2]


MARCH_FAULTS = [
    ("stuck:1010:3:0", "1010", "data bit 3"),
    ("stuck:1010:7:1", "1010", "data bit 7"),
    ("stuck-chip:{chip}:1", "1000", "data bit 2"),
    ("transition:1011:0:up", "1011", "data bit 0"),
    ("transition:1011:6:down", "1011", "data bit 6"),
    ("bits-shorted:1:4:1000-1FFF", "1000", "data bit"),
    ("bits-shorted:4:5:1000-1FFF:or", "1000", "data bit"),
    ("address-open:2:0:1000-1FFF", "10", ""),
    ("address-shorted:0:1:1000-1FFF", "10", ""),
    ("bank-missing:1000-1FFF", "1000", ""),
    ("mirror:1000-100F:1010-101F", "10", ""),
    ("coupling:in:1003.1:up:1004.1", "1004", "data bit 1"),
    ("coupling:in:1004.1:down:1003.5", "1003", "data bit 5"),
    ("coupling:id:1003.2:up:1003.6:0", "1003", "data bit 6"),
    ("coupling:id:1003.6:down:1003.2:1", "1003", "data bit 2"),
    ("coupling:st:1003.0:1:1003.7:0", "1003", "data bit 7"),
    ("coupling:st:1008.0:0:1003.7:1", "1003", "data bit 7"),
]


@pytest.mark.parametrize("machine_name", MACHINES)
@pytest.mark.parametrize(("fault", "where", "what"), MARCH_FAULTS)
def test_the_march_finds(machine_name: str, fault: str, where: str, what: str) -> None:
    chip = {"heron": "K8", "dot": "B6"}[machine_name]
    held = verdict("march", machine_name, fault.format(chip=chip), first=0x1000, last=0x101F)
    assert not held.ok
    assert held.known
    assert held.sentence.startswith(where)
    assert what in held.sentence


@pytest.mark.parametrize(
    ("fault", "line"),
    [
        ("address-open:0:1:1000-1FFF", "address line 0,"),
        ("address-open:7:0:1000-1FFF", "address line 7,"),
        ("address-open:9:0:1000-1FFF", "address line 9,"),
        ("address-shorted:3:4:1000-1FFF", "address line 4,"),
        ("address-shorted:10:11:1000-1FFF:or", "address line 1"),
        ("mirror:1000-17FF:1800-1FFF", "address line 11,"),
        ("stuck:1080:4:1", "1080 did not take 80, it reads 90: data bit 4"),
    ],
)
def test_the_address_program_names(fault: str, line: str) -> None:
    held = verdict("address", "heron", fault, first=0x1000, last=0x1FFF)
    assert not held.ok
    assert held.known
    assert line in held.sentence


@pytest.mark.parametrize("fault", ["forgets:1040:0.2:00", "forgets:1040:0.2:FF", "forgets:1030-1050:0.1"])
def test_retention_finds_what_forgets(fault: str) -> None:
    held = verdict("retention", "heron", fault, first=0x1000, last=0x10FF, wait=1)
    assert not held.ok
    assert held.known
    assert held.findings[0]["address"] in (0x1040, 0x1030)
    assert verdict("march", "heron", fault, first=0x1000, last=0x10FF).ok or "-" in fault


def test_the_survey_finds_missing_memory_and_missing_chips() -> None:
    gone = verdict("survey", "heron", "bank-missing:2000-2FFF")
    assert gone.sentence == 'line 3 reads "2 ................"; expected: "2 WWWWWWWWWWWWWWWW"'
    chip = verdict("survey", "heron", "stuck-chip:M5:0")
    assert chip.sentence == 'line 4 reads "3 PPPPPPPPPPPPPPPP"; expected: "3 WWWWWWWWWWWWWWWW"'


def test_the_processor_check_meets_bad_memory_in_the_zero_page() -> None:
    assert verdict("smoke", "heron", "stuck:0002:1:0").sentence.startswith("indexed addressing")
    assert verdict("smoke", "heron", "stuck:0003:4:1").sentence.startswith("indirect addressing")


def test_the_checksum_finds_a_bad_rom_byte() -> None:
    target = machine.load("heron")
    built = library.build(library.load("checksum"), target, parameters={"first": 0xFF00, "last": 0xFFFF})
    good, bad = Board(target), Board(target, faults=["rom-bad:FF00:00"])
    sums = [library.judge(built, run(board, built).text).sentence for board in (good, bad)]
    assert sums[0] != sums[1]


def test_the_decimal_program_finds_a_profile_that_is_wrong() -> None:
    target = machine.load("heron")
    built = library.build(library.load("decimal"), replace(target, processor="65C02"))
    held = library.judge(built, run(Board(target), built).text)
    assert held.sentence.startswith("this is an NMOS part, and the profile says 65C02")


@pytest.mark.parametrize(("name", "fault"), [("keys", "keys-changed:1"), ("counter", "prints-lost:0.02")])
def test_a_bad_wire_does_not_pass_for_good(name: str, fault: str) -> None:
    target = machine.load("heron")
    built = library.build(library.load(name), target)
    board = Board(target)
    quiet = Board(target, faults=[fault])
    text = run(board, built).text
    quiet.read(1.0)
    assert library.judge(built, text).ok
    wire_text = "".join(
        chr(code) for byte in text.encode() for f in quiet.adapter.faults for code in f.print(byte)
    )
    if name == "keys":
        codes = [changed for key in b"AZ5*" for f in quiet.adapter.faults for changed in f.key(key)]
        wire_text = "\r" + " ".join(f"{code:02X}" for code in codes) + " 1B \r="
    assert not library.judge(built, wire_text).ok
