"""Reports of the program library that need no machine to talk to."""

from __future__ import annotations

from dataclasses import dataclass

from linktool.plan import Cost, Plan
from linktool.program import Program
from linktool.program_build import Built


@dataclass(frozen=True)
class LibraryReport:
    """Every program: name, question, whether it is the user's own; and what cannot be used."""

    programs: tuple[tuple[str, str, bool], ...]
    faulty: tuple[str, ...] = ()
    command: str = "programs"
    exit_status: int = 0


@dataclass(frozen=True)
class ProgramReport:
    """One program, built for a machine, with what it costs to type and what its screen will show."""

    built: Built
    plan: Plan
    reading: Cost
    screen: tuple[str, ...]
    command: str = "programs"
    exit_status: int = 0


@dataclass(frozen=True)
class UnbuiltReport:
    """One program as it stands in the library, where no machine is known to build it for."""

    program: Program
    command: str = "programs"
    exit_status: int = 0


@dataclass(frozen=True)
class AddedReport:
    name: str
    folder: str
    command: str = "programs"
    exit_status: int = 0
