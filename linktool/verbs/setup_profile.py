"""The second half of setup: the memory map is gone through with the user, and the profile written.

Nothing is written before the last question is answered, and nothing over an old profile unasked.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from formats import files, registry
from formats.image import Image, Range, hex4
from linktool import machine as profiles
from linktool import profile_text
from linktool.bench import Bench
from linktool.board.monitor import rom_for
from linktool.errors import PortError, UsageError
from linktool.jobs.setup import Look, SetupReport
from linktool.machine import Area, Kind, Machine
from linktool.questions import Questions
from linktool.range_list import areas_of, parse_ranges, parse_reserved, shown_ranges, shown_reserved
from linktool.settings_file import with_settings

KINDS: tuple[tuple[Kind, str], ...] = (("ram", "RAM"), ("rom", "ROM"), ("io", "I/O registers"))


@dataclass(frozen=True)
class Met:
    """What is known of the machine when the link stands. machine: with its link, its dialect and display as
    found, all else as in the profile it was recognised by. rehearsal: it is the simulated board."""

    machine: Machine
    port: str
    rom: Image
    looked: tuple[Look, ...]
    rehearsal: bool


def write_profile(bench: Bench, ask: Questions, met: Met, name: str | None) -> SetupReport:
    """Ask for what the link could not tell, write profile and ROM, and take the machine in hand.
    `name`: what the profile is to be called, None to ask."""
    base = met.machine.name
    machine = _memory_map(ask, met.machine)
    name, replacing = _name(bench, ask, name)
    title = ask.ask("What is the machine called?", _title, f"{name}, set up from profile {base}")
    machine = replace(machine, name=name, title=title, note="", source="")
    head = _head(base, met)
    if not _symbols_hold(met):
        head = [*head, *_symbols_to_check(machine)]
        machine = replace(machine, symbols={})
    text = profile_text.as_toml(machine, head)
    keep = ask.yes("Use this port and machine from now on, when none is given?", not met.rehearsal)
    folder = bench.folders.machines
    path, rom_path = folder / f"{name}.toml", folder / f"{name}-rom.hex"
    folder.mkdir(parents=True, exist_ok=True)
    if met.rom:
        content = registry.write(met.rom, registry.for_writing(str(rom_path)).name)
        files.save(rom_path, content, force=replacing)
    files.save(path, text, force=replacing)
    if keep:
        _keep(bench.folders.settings_file, met.port, name)
    bench.use(machine=name)
    saved = str(rom_path) if met.rom else ""
    return SetupReport(profiles.load(name, folder), met.port, str(path), saved, met.looked, keep)


def _memory_map(ask: Questions, machine: Machine) -> Machine:
    ask.tell(f"The memory map, as profile {machine.name} has it. Your board's manual decides.")
    areas: list[Area] = []
    for kind, words in KINDS:
        before = [area for area in machine.areas if area.kind == kind]
        taken = tuple(area.range for area in areas)
        given = ask.ask(
            words,
            lambda text, kind=kind, taken=taken: _free_ranges(text, kind, taken),  # type: ignore[misc]
            shown_ranges(area.range for area in before),
        )
        areas += areas_of(given, kind, before, words)
    ask.tell("Addresses that must not be overwritten: the monitor's workspace, stack, line buffer.")
    reserved = ask.ask(
        "Name and range, commas between, or none",
        lambda text: parse_reserved(text, machine.reserved),
        shown_reserved(machine.reserved),
    )
    areas.sort(key=lambda area: area.range)
    # The chips' places are those of another board.
    return replace(machine, areas=tuple(areas), reserved=reserved, chips=())


def _free_ranges(text: str, kind: Kind, taken: Sequence[Range]) -> tuple[Range, ...]:
    given = parse_ranges(text)
    if kind == "ram" and not given:
        raise UsageError("without RAM nothing can be entered", "Give its addresses: 0000-0FFF")
    for where in given:
        shared = next((each for each in taken if each.overlap(where)), None)
        if shared:
            raise UsageError(f"{where} meets {shared}, which was given before")
    return given


def _name(bench: Bench, ask: Questions, given: str | None) -> tuple[str, bool]:
    """The profile's name, and whether the user allows an old one of that name to be replaced."""
    while True:
        name = (
            _profile_name(given)
            if given
            else ask.ask("Name of the profile", _profile_name, _free_name(bench))
        )
        if not (bench.folders.machines / f"{name}.toml").exists():
            return name, False
        if not ask.suggested and ask.yes(f"A profile {name} is there already. Replace it?", False):
            return name, True
        if given or not ask.live:
            raise UsageError(f"the profile {name} is there already", "Choose another name with --name")


def _free_name(bench: Bench) -> str:
    taken = profiles.available(bench.folders.machines)
    number = 2
    name = "my-board"
    while name in taken:
        name, number = f"my-board-{number}", number + 1
    return name


def _profile_name(text: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9-]{0,31}", text):
        raise UsageError(
            f"{text!r} is no name for a profile", "Use a-z, 0-9 and -, a letter first, 32 at most"
        )
    return text


def _title(text: str) -> str:
    if not text or not text.isprintable() or len(text) > 80:
        raise UsageError("that is no title", "Give a line of 1 to 80 characters")
    return text


def _symbols_hold(met: Met) -> bool:
    """Whether the symbols of the profile that was recognised are this machine's: the profile is the user's
    own, or the ROM that was read is the one the symbols belong to. Jumping to a wrong one runs wild."""
    if Path(met.machine.source).parent != profiles.SHIPPED:
        return True
    try:
        rom = rom_for(met.machine)
    except PortError:
        return False
    return met.rom.slice(Range(0x10000 - len(rom), 0xFFFF)) == Image.from_bytes(0x10000 - len(rom), rom)


def _symbols_to_check(machine: Machine) -> list[str]:
    """The symbols as comment, for a ROM that is not known."""
    return [
        "This ROM is not the one these symbols belong to. linktool jumps to some of them: look each up in",
        "your board's manual, put it right and take the # away. Until then it types everything.",
        "[symbols]",
        *(f'{name} = "{hex4(value)}"' for name, value in machine.symbols.items()),
    ]


def _head(base: str, met: Met) -> list[str]:
    head = [
        f"Written by `linktool setup` on {date.today():%Y-%m-%d}, over {met.port}, from profile {base}.",
        "Symbols, and what was not asked for, are that profile's: check them against your board's manual.",
        "With [[chip]] entries, one for each chip's place, a fault can be traced to its chip.",
    ]
    for segment in met.rom.segments:
        # CRC-16/XMODEM, as the programs of the library compute it.
        head.append(f"ROM {segment.range} as it was read: CRC-16 {binascii.crc_hqx(segment.data, 0):04X}.")
    return head


def _keep(path: Path, port: str, machine: str) -> None:
    """Remember both in the settings, whatever else stands there."""
    try:
        before = path.read_text("utf-8")
    except FileNotFoundError:
        before = ""
    path.parent.mkdir(parents=True, exist_ok=True)
    files.save(path, with_settings(before, port=port, machine=machine), force=True)
