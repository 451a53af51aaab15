"""A reading shown as instructions: the report of `read --as code`."""

from __future__ import annotations

from dataclasses import dataclass

from formats.image import Image
from linktool.disassembly import Instruction
from linktool.jobs.report import Report


@dataclass(frozen=True)
class CodeReport:
    """What was read, and the same bytes decoded."""

    reading: Report
    code: tuple[Instruction, ...]
    command: str = "read"

    @property
    def image(self) -> Image:
        return self.reading.image

    @property
    def ok(self) -> bool:
        return self.reading.ok

    @property
    def exit_status(self) -> int:
        return self.reading.exit_status
