"""Reports that only list what is there: ports, machines, a plan, a conversion."""

from __future__ import annotations

from dataclasses import dataclass

from formats.image import Image, Range
from linktool.machine import Machine
from linktool.plan import Cost, Plan
from linktool.resident.forecast import Forecast


@dataclass(frozen=True)
class PortEntry:
    name: str
    description: str
    ids: str = ""


@dataclass(frozen=True)
class PortsReport:
    ports: tuple[PortEntry, ...]
    command: str = "ports"
    exit_status: int = 0


@dataclass(frozen=True)
class MachinesReport:
    """Every profile's name, title and file; shown: the one asked for; folder: where the user's own are."""

    machines: tuple[tuple[str, str, str], ...]
    shown: Machine | None = None
    folder: str = ""
    command: str = "machines"
    exit_status: int = 0


@dataclass(frozen=True)
class PlanReport:
    machine: Machine
    image: Image
    plan: Plan
    reading: Cost
    layout: str
    remarks: tuple[str, ...] = ()
    forecast: Forecast | None = None
    command: str = "plan"
    exit_status: int = 0


@dataclass(frozen=True)
class ConvertReport:
    source: str
    target: str
    source_format: str
    target_format: str
    segments: tuple[Range, ...]
    bytes: int
    start: int | None
    remarks: tuple[str, ...] = ()
    command: str = "convert"
    exit_status: int = 0


@dataclass(frozen=True)
class FaultsReport:
    """What can be broken or set on the simulated board: how it is written, and what it does."""

    faults: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]
    command: str = "board"
    exit_status: int = 0


@dataclass(frozen=True)
class Told:
    """Something already said while it went on; nothing is left to show."""

    command: str
    exit_status: int = 0
    facts: tuple[tuple[str, object], ...] = ()
