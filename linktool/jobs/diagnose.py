"""What diagnose hands back: the faults named, from a measurement of its own or from an entry of the log."""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image
from linktool.diagnosis import Diagnosis
from linktool.errors import DIFFERENT, DONE
from linktool.evidence import Evidence
from linktool.jobs.measure import Measured


@dataclass(frozen=True)
class DiagnoseReport:
    """diagnoses: one for each piece of evidence, in the same order. taken: which entry of the log it comes
    from ("check of 2026-11-25 19:42"), or "" for a measurement of its own, which is `measured`."""

    machine: str
    port: str
    diagnoses: tuple[Diagnosis, ...]
    evidence: tuple[Evidence, ...]
    taken: str = ""
    measured: Measured | None = None
    command: str = "diagnose"

    @property
    def owed(self) -> Image:
        return self.measured.owed if self.measured else Image()

    @property
    def sound(self) -> bool:
        return all(diagnosis.sound for diagnosis in self.diagnoses)

    @property
    def ok(self) -> bool:
        return self.exit_status == DONE

    @property
    def exit_status(self) -> int:
        if self.measured and self.measured.failed:
            return self.measured.failed
        return DONE if self.sound and not self.owed else DIFFERENT


@dataclass(frozen=True)
class Nothing:
    """There was nothing to explain. why: a sentence."""

    machine: str
    why: str
    command: str = "diagnose"
    exit_status: int = field(default=DONE)
