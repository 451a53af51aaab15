"""Instructions against bytes that assemblers made of the same text.

Sources: the example program, of which ca65, 64tass and py65's line assembler make the same 20 bytes
(reproduced); the count of 151 documented opcodes of the NMOS processor (py65's table, SingleStep subset).
"""

from __future__ import annotations

from formats.image import Image
from linktool.disassembly import disassemble

ASSEMBLED = bytes.fromhex("A9008510A2FFBD000345108510CAD0F66CFCFF00")
WRITTEN = """lda #0 / sta $10 / ldx #$ff / loop: lda $0300,x / eor $10 / sta $10 / dex / bne loop /
jmp ($fffc) / brk"""


def test_the_example_comes_back_as_it_was_written():
    found = disassemble(Image.from_bytes(0x0300, ASSEMBLED), {"loop": 0x0306})
    lines = [f"{each.label}: {each.text}" if each.label else each.text for each in found]
    written = [line.strip().upper().replace("LOOP", "loop") for line in WRITTEN.split("/")]
    assert lines == [line.replace("#0", "#$00") for line in written]
    assert b"".join(each.data for each in found) == ASSEMBLED


def test_151_opcodes_are_instructions_and_the_rest_is_data():
    known = 0
    for opcode in range(256):
        first = disassemble(Image.from_bytes(0x0300, bytes([opcode, 0x10, 0x20])))[0]
        known += not first.text.startswith(".byte")
        assert first.data[0] == opcode
    assert known == 151
