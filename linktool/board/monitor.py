"""The board's monitor ROM: one source, monitor.s, assembled with the constants of a machine and a dialect.

The images for the shipped machines lie beside the source (monitor_<name>.bin; a test assembles them
anew), so that nothing is assembled at start-up. Another machine's is assembled when it is asked for.
The signs of a dialect stand here by hand, apart from the profiles: a mistake in a profile must show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from formats.image import hex4
from linktool.errors import PortError
from linktool.machine import Machine

FOLDER = Path(__file__).parent
SOURCE = FOLDER / "monitor.s"
FIRST, SIZE = 0xFF00, 0x100
WORK_BYTES = 4


@dataclass(frozen=True)
class Signs:
    """What a dialect types and prints. prompt "" means that deposits and runs are answered instead."""

    between: str
    run: str
    error: str
    prompt: str


DIALECTS = {"colon-dash": Signs("-", "G", "?", "="), "colon-dot": Signs(".", "R", "\\", "")}
REGISTERS = {
    "key_data": "KEYDATA",
    "key_status": "KEYSTATUS",
    "display_data": "DISPLAYDATA",
    "display_status": "DISPLAYSTATUS",
}
SHIPPED: dict[str, tuple[str, tuple[int, int, int, int], int]] = {
    "heron": ("colon-dash", (0x9F00, 0x9F01, 0x9F02, 0x9F03), 0xF0),
    "dot": ("colon-dot", (0xA800, 0xA801, 0xA802, 0xA802), 0x20),
}
"""The images that lie beside the source: dialect, registers in the order above, workspace."""


def code(character: str) -> int:
    """What the ROM's `number` makes of a character that is no hex digit."""
    return ((ord(character) ^ 0x30) - 0x71) & 0xFF


def dialect_of(machine: Machine) -> str:
    """The dialect this ROM can speak that the profile asks for, judged by its line for a range.
    PortError when it speaks none of them."""
    for name, signs in DIALECTS.items():
        if machine.dialect.examine == "{first}" + signs.between + "{last}":
            return name
    raise PortError(
        f"the simulated board has no monitor that takes {machine.dialect.examine!r} (machine {machine.name})",
        f"It speaks {' and '.join(DIALECTS)}; another monitor must be given as a ROM image",
    )


def registers_of(machine: Machine) -> tuple[int, int, int, int]:
    """Addresses of key_data, key_status, display_data, display_status. PortError where one is missing."""
    for name in REGISTERS:
        if name not in machine.symbols:
            raise PortError(
                f"machine {machine.name} does not say where {name} is",
                f"The simulated board needs the symbols {', '.join(REGISTERS)}",
            )
    key_data, key_status, display_data, display_status = (machine.symbols[name] for name in REGISTERS)
    return key_data, key_status, display_data, display_status


def constants(dialect: str, registers: tuple[int, int, int, int], workspace: int) -> dict[str, int]:
    """The names monitor.s leaves open."""
    signs = DIALECTS[dialect]
    return {
        **dict(zip(REGISTERS.values(), registers, strict=True)),
        "WORK": workspace,
        "RUNS": code(signs.run),
        "TO": code(signs.between),
        "ERROR": ord(signs.error),
        "PROMPT": ord(signs.prompt) if signs.prompt else 0,
        "PROMPTS": 1 if signs.prompt else 0,
        "ANSWERS": 0 if signs.prompt else 1,
    }


def _workspace(machine: Machine) -> int:
    """Where the ROM keeps its four bytes: the first reserved area of page zero with room for them."""
    for reserved in machine.reserved:
        if reserved.range.last <= 0xFF and len(reserved.range) >= WORK_BYTES:
            return reserved.range.first
    raise PortError(
        f"machine {machine.name} keeps no page-zero workspace for a monitor",
        f"Its profile needs a [[reserved]] area of at least {WORK_BYTES} bytes below 0100",
    )


def rom_for(machine: Machine) -> bytes:
    """The 256 bytes of FF00-FFFF for this machine. PortError when the ROM does not fit it."""
    wanted = (dialect_of(machine), registers_of(machine), _workspace(machine))
    for name, built in SHIPPED.items():
        if built == wanted:
            return (FOLDER / f"monitor_{name}.bin").read_bytes()
    return assemble(constants(*wanted))[0]


def assemble(values: Mapping[str, int]) -> tuple[bytes, dict[str, int]]:
    """monitor.s with these constants: the 256 bytes, and where its labels are."""
    from formats import assembly
    from formats.reading import ReadOptions

    read = assembly.read(SOURCE.read_bytes(), SOURCE.name, ReadOptions(symbols=values))
    segment = read.image.segments[0]
    if segment.first != FIRST or len(segment.data) != SIZE:
        raise PortError(f"{SOURCE.name} fills {hex4(segment.first)}-{hex4(segment.last)}, not FF00-FFFF")
    return segment.data, dict(read.labels)
