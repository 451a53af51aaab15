"""Instructions as text and JSON: address, bytes, symbol, mnemonic and operand."""

from __future__ import annotations

from formats.image import hex4
from linktool.disassembly import Instruction
from linktool.jobs.code import CodeReport
from linktool.render.data import Data, data
from linktool.render.text import hex_rows, lines


@lines.register
def _(report: CodeReport) -> list[str]:
    said, notes = lines(report.reading), len(report.reading.remarks)
    after = notes + len(hex_rows(report.image))  # the code stands in the place of the rows of bytes
    return [*said[:notes], *instruction_lines(report.code), *said[after:]]


@data.register
def _(report: CodeReport) -> Data:
    code = [(hex4(each.address), each.data.hex().upper(), each.text, each.label) for each in report.code]
    names = ("address", "bytes", "text", "label")
    return {**data(report.reading), "code": [dict(zip(names, each, strict=True)) for each in code]}


def instruction_lines(code: tuple[Instruction, ...]) -> list[str]:
    """One line an instruction; a line of its own for a symbol; an empty one where addresses jump."""
    result: list[str] = []
    following: int | None = None
    for each in code:
        if following not in (None, each.address):
            result.append("")
        following = each.address + len(each.data)
        if each.label:
            result.append(f"{each.label}:")
        result.append(f"{hex4(each.address)}  {each.data.hex(' ').upper():<8}  {each.text}")
    return result
