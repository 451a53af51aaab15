"""Assembly against published bytes and against other assemblers on the same source.

Other assemblers: ca65 and ld65 (Debian cc65 2.19), 64tass (Debian 64tass 1.58), xa (Debian xa65 2.3.14),
py65 1.2.0's line assembler. Opcodes: MOS Technology, MCS6500 Microcomputer Family Programming Manual, 1976
(as in py65's table; 151 of them).
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from py65.assembler import Assembler
from py65.devices.mpu6502 import MPU
from py65.utils.addressing import AddressParser

from formats import assembly
from formats.reading import ReadOptions

LOOP = """
 lda #0
 sta $10
 ldx #$ff
loop: lda $0300,x
 eor $10
 sta $10
 dex
 bne loop
 jmp ($fffc)
 brk
"""
LOOP_BYTES = bytes.fromhex("A9008510A2FFBD000345108510CAD0F66CFCFF00")
"""As ca65 2.19, 64tass 1.58.2974 and py65 1.2.0 assemble it at 0300."""
OPERANDS = {
    "imp": "", "acc": "", "imm": "#$12", "zpg": "$34", "zpx": "$34,x", "zpy": "$34,y", "inx": "($34,x)",
    "iny": "($34),y", "abs": "$1234", "abx": "$1234,x", "aby": "$1234,y", "ind": "($1234)", "rel": "{here}+4",
}  # fmt: skip
OPCODES = [(name.lower(), mode) for name, mode in MPU.disassemble if name != "???"]
EVERY_OPCODE_SHA256 = "9c6a03e2bf6a7539991e2c1b769f6927238ceb783689fbf6d4ddba324fa22e5b"


def every_opcode(here: str) -> str:
    """One line for each opcode, in the opcodes' order; `here` is the dialect's word for this address."""
    lines = [f" {name} {OPERANDS[mode].format(here=here)}".rstrip() for name, mode in OPCODES]
    return "\n".join(lines) + "\n"


def ours(source: str) -> bytes:
    image = assembly.read(source, "a.s", ReadOptions(at=0x300)).image
    assert len(image.segments) == 1 and image.segments[0].first == 0x300
    return image.segments[0].data


def need(*programs: str, package: str) -> None:
    for program in programs:
        if shutil.which(program) is None:
            pytest.skip(f"{program} is not there: install Debian's package {package}")


def run(folder: Path, *command: str) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def by_ca65(folder: Path, source: str) -> bytes:
    need("ca65", "ld65", package="cc65")
    (folder / "a.s").write_text(source)
    (folder / "a.cfg").write_text(
        "MEMORY { RAM: start = $0300, size = $1000, file = %O; }\nSEGMENTS { CODE: load = RAM, type = rw; }\n"
    )
    run(folder, "ca65", "--cpu", "6502", "a.s", "-o", "a.o")
    run(folder, "ld65", "-C", "a.cfg", "a.o", "-o", "a.bin")
    return (folder / "a.bin").read_bytes()


def by_64tass(folder: Path, source: str) -> bytes:
    need("64tass", package="64tass")
    (folder / "a.s").write_text("*=$0300\n" + source)
    run(folder, "64tass", "-q", "--nostart", "--m6502", "a.s", "-o", "a.bin")
    return (folder / "a.bin").read_bytes()


def by_xa(folder: Path, source: str) -> bytes:
    need("xa", package="xa65")
    (folder / "a.s").write_text("*=$0300\n" + source)
    run(folder, "xa", "-o", "a.bin", "a.s")
    return (folder / "a.bin").read_bytes()


def test_a_short_program():
    assert ours(LOOP) == LOOP_BYTES


def test_every_opcode():
    assert len(OPCODES) == 151
    data = ours(every_opcode("^"))
    assert len(data) == 321
    assert hashlib.sha256(data).hexdigest() == EVERY_OPCODE_SHA256


@pytest.mark.parametrize("other", [by_ca65, by_64tass, by_xa], ids=lambda other: other.__name__)
def test_other_assemblers_give_the_same_bytes(other, tmp_path: Path):
    assert other(tmp_path, LOOP) == LOOP_BYTES
    assert other(tmp_path, every_opcode("*")) == ours(every_opcode("^"))


def test_py65_gives_the_same_bytes_line_by_line():
    assembler, address, data = Assembler(MPU(), AddressParser()), 0x300, b""
    for line in every_opcode("*").splitlines():
        statement = line.strip().replace("*+4", f"${address + 4:04x}")
        data += bytes(assembler.assemble(statement, pc=address))
        address = 0x300 + len(data)
    assert data == ours(every_opcode("^"))


DIRECTIVES = """
table = $12
 lda #<pointer
 ldx #>pointer
 ldy table
 sta far,x
pointer: .byte 1, 2, $ff
 .word pointer, $1234
far: .byte "HELLO"
 beq far
 bne pointer
"""


@pytest.mark.parametrize("other", [by_ca65, by_64tass], ids=lambda other: other.__name__)
def test_other_assemblers_agree_on_data_labels_and_zero_page(other, tmp_path: Path):
    theirs = DIRECTIVES.replace('.byte "', '.text "') if other is by_64tass else DIRECTIVES
    assert other(tmp_path, theirs) == ours(DIRECTIVES.replace("table = ", ".alias table "))


@pytest.mark.parametrize("other", [by_ca65, by_64tass, by_xa], ids=lambda other: other.__name__)
def test_other_assemblers_refuse_a_branch_out_of_reach_too(other, tmp_path: Path):
    source = " bne far\n" + " nop\n" * 128 + "far: rts\n"
    with pytest.raises(AssertionError):
        other(tmp_path, source)
    with pytest.raises(Exception, match="Branch target out of bounds"):
        ours(source)
    assert other(tmp_path, source.replace(" nop\n", "", 1)) == ours(source.replace(" nop\n", "", 1))
