"""Bytes as 6502 or 65C02 instructions, with the names of symbols. py65's tables stand behind it.

Decoding starts at the first byte of each segment and goes straight on: data among code is decoded as if it
were code. A byte that begins no instruction, and one whose operand would lie in a gap, is shown as data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from formats.image import Image, hex4


@dataclass(frozen=True)
class Instruction:
    """text: the mnemonic and its operand, or ".byte" and one byte. label: the symbol at this address."""

    address: int
    data: bytes
    text: str
    label: str = ""


def disassemble(
    image: Image, symbols: Mapping[str, int] | None = None, processor: str = "6502"
) -> tuple[Instruction, ...]:
    """Every byte of `image`, in order. Of two symbols with one address the first by name is used."""
    names: dict[int, str] = {}
    for name, value in sorted((symbols or {}).items()):
        names.setdefault(value, name)
    decoder = _decoder(processor)
    memory = decoder.memory
    for address, value in image.cells():
        memory[address] = value
    found = []
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            data, text = _one(decoder, image, at, names)
            found.append(Instruction(at, data, text, names.get(at, "")))
            at += len(data)
    return tuple(found)


def _one(decoder: _Decoder, image: Image, at: int, names: Mapping[int, str]) -> tuple[bytes, str]:
    opcode = decoder.memory[at]
    mnemonic, mode = decoder.table[opcode]
    length = 1 if mode in ("imp", "acc") else 3 if mode in ("abs", "abx", "aby", "ind", "iax") else 2
    cells = [image.get(address) if address <= 0xFFFF else None for address in range(at, at + length)]
    data = bytes(cell for cell in cells if cell is not None)
    if mnemonic == "???" or len(data) < length:
        return bytes([opcode]), f".byte ${opcode:02X}"
    _, text = decoder.py65.instruction_at(at)
    return data, _named(text, data, at, mode, names)


def _named(text: str, data: bytes, at: int, mode: str, names: Mapping[int, str]) -> str:
    """The operand's address replaced by its symbol's name; immediate operands are no addresses."""
    if mode == "rel":
        target = (at + 2 + data[1] - (0x100 if data[1] & 0x80 else 0)) & 0xFFFF
        shown = f"${hex4(target)}"
    elif len(data) == 3:
        target = data[1] | data[2] << 8
        shown = f"${hex4(target)}"
    elif len(data) == 2 and mode != "imm":
        target, shown = data[1], f"${data[1]:02X}"
    else:
        return text.upper()
    name = names.get(target)
    return text.upper().replace(shown, name) if name else text.upper()


@dataclass(frozen=True)
class _Decoder:
    py65: Any
    table: Any
    memory: list[int]


def _decoder(processor: str) -> _Decoder:
    from py65.disassembler import Disassembler

    if processor == "65C02":
        from py65.devices.mpu65c02 import MPU
    else:
        from py65.devices.mpu6502 import MPU
    memory = [0] * 0x10000
    core = MPU(memory=memory, pc=0)
    return _Decoder(Disassembler(core), core.disassemble, memory)
