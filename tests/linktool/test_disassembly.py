"""Reading bytes as instructions: gaps, symbols, ends of memory."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image
from linktool.disassembly import disassemble
from tests.linktool.images import images


@given(images(), st.sampled_from(["6502", "65C02"]))
def test_every_byte_is_shown_once_whatever_it_is(image, processor):
    found = disassemble(image, processor=processor)
    cells = [(each.address + at, byte) for each in found for at, byte in enumerate(each.data)]
    assert cells == list(image.cells())


def test_an_operand_in_a_gap_is_not_made_up():
    image = Image.from_runs([(0x0300, b"\x20\x03"), (0x0310, b"\x60")])
    assert [each.text for each in disassemble(image)] == [".byte $20", ".byte $03", "RTS"]


def test_symbols_name_addresses_but_no_plain_numbers():
    image = Image.from_bytes(0x0300, bytes.fromhex("A910A5102003FFD0FE"))
    found = disassemble(image, {"cell": 0x10, "char_out": 0xFF03, "here": 0x0307})
    assert [each.text for each in found] == ["LDA #$10", "LDA cell", "JSR char_out", "BNE here"]
    assert found[-1].label == "here"


def test_the_last_byte_of_memory_does_not_run_over():
    assert [each.text for each in disassemble(Image.from_bytes(0xFFFE, b"\x4c\x00"))] == [".byte $4C", "BRK"]


def test_a_branch_below_0000_wraps():
    # Two's complement displacement from the following instruction; addresses are 16 bits wide.
    assert disassemble(Image.from_bytes(0x0000, b"\xd0\xf0"))[0].text == "BNE $FFF2"
