"""The board's processor against the vendor's cycle counts, for every documented instruction.

Source: the table of instruction times in MOS Technology, MCS6500 Microcomputer Family Programming Manual,
2nd ed., January 1976, 6500-50A; the figures as they stand in the public SingleStepTests/65x02 data
(6502/v1), which agree. JSR, BRK and the indirect jump across a page: the same manual.
"""

from __future__ import annotations

import pytest

from formats import assembly
from linktool.board import open_board
from linktool.board.board import Board

AT = 0x0310
READ = {"#": 2, "z": 3, "z,x": 4, "z,y": 4, "a": 4, "a,x": 4, "a,y": 4, "(z,x)": 6, "(z),y": 5}
STORE = {"z": 3, "z,x": 4, "z,y": 4, "a": 4, "a,x": 5, "a,y": 5, "(z,x)": 6, "(z),y": 6}
CHANGE = {"z": 5, "z,x": 6, "a": 6, "a,x": 7}
CROSSING = {"a,x", "a,y", "(z),y"}
OPERANDS = {
    "#": "#$12",
    "z": "$40",
    "z,x": "$40,x",
    "z,y": "$40,y",
    "a": "$1234",
    "a,x": "$1234,x",
    "a,y": "$1234,y",
    "(z,x)": "($40,x)",
    "(z),y": "($40),y",
}
ALL = "# z z,x a a,x a,y (z,x) (z),y"
READERS = {
    **dict.fromkeys(["adc", "and", "cmp", "eor", "lda", "ora", "sbc"], ALL),
    "bit": "z a",
    "cpx": "# z a",
    "cpy": "# z a",
    "ldx": "# z z,y a a,y",
    "ldy": "# z z,x a a,x",
}
STORES = {"sta": "z z,x a a,x a,y (z,x) (z),y", "stx": "z z,y a", "sty": "z z,x a"}
CHANGERS = dict.fromkeys(["asl", "dec", "inc", "lsr", "rol", "ror"], "z z,x a a,x")
IMPLIED = {
    **dict.fromkeys(
        [
            "asl",
            "clc",
            "cld",
            "cli",
            "clv",
            "dex",
            "dey",
            "inx",
            "iny",
            "lsr",
            "nop",
            "rol",
            "ror",
            "sec",
            "sed",
            "sei",
            "tax",
            "tay",
            "tsx",
            "txa",
            "txs",
            "tya",
        ],
        2,
    ),
    **dict.fromkeys(["pha", "php"], 3),
    **dict.fromkeys(["pla", "plp"], 4),
    **dict.fromkeys(["rti", "rts"], 6),
    "brk": 7,
}
JUMPS = {"jmp $1234": 3, "jmp ($1234)": 5, "jsr $1234": 6}
BRANCHES = {
    "bcc": 0x01,
    "bcs": 0x01,
    "beq": 0x02,
    "bne": 0x02,
    "bmi": 0x80,
    "bpl": 0x80,
    "bvc": 0x40,
    "bvs": 0x40,
}
TAKEN_WHEN_SET = {"bcs", "beq", "bmi", "bvs"}

MEMORY = [
    (f"{name} {OPERANDS[mode]}", table[mode], mode, table is READ)
    for table, names in ((READ, READERS), (STORE, STORES), (CHANGE, CHANGERS))
    for name, modes in names.items()
    for mode in modes.split()
]


def machine_code(source: str, at: int = AT) -> bytes:
    return assembly.read(f".org ${at:04x}\n{source}\n", "one line").image.segments[0].data


def board_at(code: bytes, at: int = AT, **registers: int) -> Board:
    board = open_board("board:")
    board.poke(0x0000, bytes(0x200))
    board.poke(0x1200, bytes(0x200))
    board.poke(0x0040, b"\x34\x12")
    board.poke(at, code)
    board.processor.core.pc = at
    for name, value in registers.items():
        setattr(board.processor.core, name, value)
    return board


def cycles(board: Board) -> int:
    """Clock cycles of the next instruction."""
    before = board.processor.cycles
    board.processor.run(before + 1)
    return board.processor.cycles - before


@pytest.mark.parametrize(("source", "count", "mode", "reads"), MEMORY, ids=[row[0] for row in MEMORY])
def test_instructions_that_address_memory(source: str, count: int, mode: str, reads: bool) -> None:
    code = machine_code(source)
    assert cycles(board_at(code, x=0, y=0)) == count
    penalty = 1 if reads and mode in CROSSING else 0
    assert cycles(board_at(code, x=0xFF, y=0xFF)) == count + penalty


@pytest.mark.parametrize(("source", "count"), (IMPLIED | JUMPS).items())
def test_other_instructions(source: str, count: int) -> None:
    assert cycles(board_at(machine_code(source))) == count


@pytest.mark.parametrize("name", BRANCHES)
def test_branches(name: str) -> None:
    flag = BRANCHES[name]
    go, stay = (flag, 0) if name in TAKEN_WHEN_SET else (0, flag)
    near = machine_code(f"{name} here\nnop\nhere: nop")
    assert cycles(board_at(near, p=stay)) == 2
    assert cycles(board_at(near, p=go)) == 3
    forward = machine_code(f"{name} there\n.advance $0410\nthere: nop", 0x03F0)
    far = board_at(forward, 0x03F0, p=go)
    assert cycles(far) == 4
    assert far.processor.core.pc == 0x0410
    assert cycles(board_at(forward, 0x03F0, p=stay)) == 2
    back = board_at(
        machine_code(f"there: nop\n.advance $0410\n{name} there", 0x03F0), 0x03F0, p=go, pc=0x0410
    )
    assert cycles(back) == 4


def test_these_are_all_151_instructions() -> None:
    sources = [row[0] for row in MEMORY] + list(IMPLIED) + list(JUMPS)
    opcodes = [machine_code(source)[0] for source in sources]
    opcodes += [machine_code(f"{name} here\nhere: nop")[0] for name in BRANCHES]
    assert len(opcodes) == len(set(opcodes)) == 151
    for opcode in sorted(set(range(0x100)) - set(opcodes)):
        board = board_at(bytes([opcode]))
        board.processor.run(board.processor.cycles + 1)
        assert board.statistics().stopped == f"{opcode:02X} at 0310 is no instruction"


def test_subroutine_break_and_indirect_jump_use_stack_and_page_as_published() -> None:
    jsr = board_at(machine_code("jsr $1234", 0x0200), 0x0200, sp=0xFF)
    cycles(jsr)
    assert jsr.memory(0x01FE, 0x01FF) == b"\x02\x02"
    assert (jsr.processor.core.pc, jsr.processor.core.sp) == (0x1234, 0xFD)
    brk = board_at(b"\x00", 0x0200, sp=0xFF, p=0x20)
    cycles(brk)
    assert brk.memory(0x01FE, 0x01FF) == b"\x02\x02"
    assert brk.memory(0x01FD, 0x01FD)[0] & 0x10
    assert brk.processor.core.pc == int.from_bytes(brk.memory(0xFFFE, 0xFFFF), "little")
    jmp = board_at(machine_code("jmp ($30ff)"))
    jmp.poke(0x3000, b"\x12")
    jmp.poke(0x30FF, b"\x34\x56")
    cycles(jmp)
    assert jmp.processor.core.pc == 0x1234
