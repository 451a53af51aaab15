"""Argument types: each parses, describes and completes itself. The command table is built of them.

Addresses are hexadecimal: 0280, $0280 or 0x280. Ranges: 0280-02FF, 0280.02FF or 0280+80 (a length).
`parse` raises UsageError with what was found and what is expected. `complete` gives the words that may
stand there, from what the caller knows (`Known`); it never touches a port.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any, Protocol

from formats import registry
from formats.image import Range, hex4
from linktool.errors import UsageError
from linktool.spelling import nearest


@dataclass(frozen=True)
class Known:
    """What completion may offer: lists that the caller has at hand."""

    machines: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    programs: tuple[str, ...] = ()
    symbols: tuple[str, ...] = ()
    ranges: tuple[str, ...] = ()
    areas: tuple[str, ...] = ()


class Kind(Protocol):
    """What an argument is: `shown` stands for it in help texts."""

    @property
    def shown(self) -> str: ...

    def parse(self, text: str) -> Any: ...

    def complete(self, start: str, known: Known) -> list[str]: ...


def parse_address(text: str) -> int:
    """An address 0000..FFFF. UsageError otherwise."""
    match = re.fullmatch(r"(?:\$|0[xX])?([0-9A-Fa-f]+)", text.strip())
    if not match:
        raise UsageError(f"{text!r} is no address", "Addresses are hexadecimal: 0280, $0280 or 0x280")
    value = int(match[1], 16)
    if value > 0xFFFF:
        raise UsageError(f"address {match[1].upper()} is above FFFF", "The machine has 16 address lines")
    return value


def parse_range(text: str) -> Range:
    """A range, or one address. UsageError otherwise."""
    match = re.fullmatch(r"\s*([^\s.+-]+)\s*(?:([.+-])\s*([^\s.+-]+)\s*)?", text)
    if not match:
        raise UsageError(f"{text!r} is no range", "Ranges are 0280-02FF, or 0280+80 with a length")
    first = parse_address(match[1])
    if match[2] is None:
        return Range(first, first)
    if match[2] == "+":
        digits = re.fullmatch(r"(?:\$|0[xX])?([0-9A-Fa-f]+)", match[3])
        length = int(digits[1], 16) if digits else 0
        if length < 1:
            raise UsageError(f"{match[3]!r} is no length", "A length is hexadecimal and at least 1: 0280+80")
        last = first + length - 1
        if last > 0xFFFF:
            most = f"From {hex4(first)} at most {0x10000 - first:X}"
            raise UsageError(f"{text.strip()!r} runs past FFFF", most)
        return Range(first, last)
    last = parse_address(match[3])
    if last < first:
        turned = f"{hex4(last)}-{hex4(first)}"
        raise UsageError(f"the range {hex4(first)}-{hex4(last)} runs backwards", f"Did you mean {turned}?")
    return Range(first, last)


@dataclass(frozen=True)
class Address:
    """A 16-bit address."""

    shown: str = "ADDRESS"

    def parse(self, text: str) -> int:
        return parse_address(text)

    def complete(self, start: str, known: Known) -> list[str]:
        return []


@dataclass(frozen=True)
class Entrance:
    """Where a program starts: an address, or a name of one of the machine's symbols or of a program of the
    library (kept as text until it is known)."""

    shown: str = "ADDRESS"

    def parse(self, text: str) -> int | str:
        if re.fullmatch(r"[a-z][a-z0-9_-]*", text) and not re.fullmatch(r"[0-9a-f]{1,4}", text):
            return text
        return parse_address(text)

    def complete(self, start: str, known: Known) -> list[str]:
        return [name for name in (*known.symbols, *known.programs) if name.startswith(start)]


@dataclass(frozen=True)
class RangeOf:
    """First to last address, both included."""

    shown: str = "RANGE"

    def parse(self, text: str) -> Range:
        return parse_range(text)

    def complete(self, start: str, known: Known) -> list[str]:
        return [text for text in known.ranges if text.startswith(start.upper())]


@dataclass(frozen=True)
class File:
    """A file's path. images: an image is wanted, so a program's name of the library will do too."""

    shown: str = "FILE"
    images: bool = False

    def parse(self, text: str) -> str:
        if not text or "\0" in text:
            raise UsageError(f"{text!r} is no file name")
        if text == "-":
            raise UsageError("'-' is no file name", "Standard input and output are not taken; name a file")
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        base = Path(start).expanduser()
        folder, stem = (base, "") if start.endswith(("/", "\\")) or start == "" else (base.parent, base.name)
        try:
            names = sorted(folder.iterdir())
        except OSError:
            names = []
        given = start[: len(start) - len(stem)]
        found = [
            given + name.name + ("/" if name.is_dir() else "")
            for name in names
            if name.name.startswith(stem) and not (name.name.startswith(".") and not stem)
        ]
        programs = [name for name in known.programs if name.startswith(start)] if self.images else []
        return programs + found


@dataclass(frozen=True)
class MachineName:
    shown: str = "MACHINE"

    def parse(self, text: str) -> str:
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        return [name for name in known.machines if name.startswith(start)]


@dataclass(frozen=True)
class PortName:
    shown: str = "PORT"

    def parse(self, text: str) -> str:
        if not text.strip():
            raise UsageError("the port's name is empty", "`linktool ports` lists what is there")
        return text.strip()

    def complete(self, start: str, known: Known) -> list[str]:
        return [name for name in known.ports if name.startswith(start)]


@dataclass(frozen=True)
class AreaName:
    shown: str = "AREA"

    def parse(self, text: str) -> str:
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        return [name for name in known.areas if name.startswith(start)]


@dataclass(frozen=True)
class Number:
    """A decimal number between two limits, with its unit in `shown`."""

    shown: str
    least: float = 0.0
    most: float = 1e9
    whole: bool = False

    def parse(self, text: str) -> float | int:
        try:
            value = int(text) if self.whole else float(text)
        except ValueError:
            value = float("nan")
        if not self.least <= value <= self.most:
            kind = "whole number" if self.whole else "number"
            limits = f"A {kind} from {self.least:,g} to {self.most:,.10g}"
            raise UsageError(f"{text!r} will not do for {self.shown}", limits)
        return value

    def complete(self, start: str, known: Known) -> list[str]:
        return []


@dataclass(frozen=True)
class Moment:
    """A day or a moment of the user's own time: today, yesterday, 2026-11-25 or 2026-11-25T19:30."""

    shown: str = "WHEN"

    def parse(self, text: str) -> datetime:
        words = {"today": 0, "yesterday": 1}
        try:
            if text.lower() in words:
                day = datetime.now().date() - timedelta(days=words[text.lower()])
                return datetime.combine(day, time()).astimezone()
            return datetime.fromisoformat(text.replace(" ", "T")).astimezone()
        except (ValueError, OverflowError, OSError):
            raise UsageError(
                f"{text!r} is no moment", "Write today, yesterday, 2026-11-25 or 2026-11-25T19:30"
            ) from None

    def complete(self, start: str, known: Known) -> list[str]:
        return [word for word in ("today", "yesterday") if word.startswith(start)]


@dataclass(frozen=True)
class Choice:
    words: tuple[str, ...]

    @property
    def shown(self) -> str:
        return "|".join(self.words)

    def parse(self, text: str) -> str:
        if text not in self.words:
            raise UsageError(f"{text!r} is not one of {', '.join(self.words)}")
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        return [word for word in self.words if word.startswith(start)]


@dataclass(frozen=True)
class Text:
    shown: str = "TEXT"
    words: Callable[[Known], tuple[str, ...]] = field(default=lambda known: ())

    def parse(self, text: str) -> str:
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        return [word for word in self.words(known) if word.startswith(start)]


@dataclass(frozen=True)
class FormatName:
    """A file format of the registry. writing: only those that can be written."""

    writing: bool = False
    shown: str = "FORMAT"

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(each.name for each in registry.FORMATS if each.writer or not self.writing)

    def parse(self, text: str) -> str:
        if text not in self.names:
            near = next((name for name in self.names if text in name), "") or nearest(text, self.names)
            meant = f"Did you mean {near}? " if near else ""
            raise UsageError(f"{text!r} is no format", f"{meant}Formats: {', '.join(self.names)}")
        return text

    def complete(self, start: str, known: Known) -> list[str]:
        return [name for name in self.names if name.startswith(start)]


@dataclass(frozen=True)
class Argument:
    """One argument of a command.

    name     "image" for a place, "--at" for an option (then `short` may be "-o")
    kind     its type; None for a switch
    many     a place takes one or more; an option may be given again
    needed   a place that must be filled
    bare     the value of an option given without one; ... where it needs one
    """

    name: str
    kind: Kind | None
    help: str
    many: bool = False
    needed: bool = True
    default: Any = None
    bare: Any = ...
    short: str = ""

    @property
    def is_option(self) -> bool:
        return self.name.startswith("-")

    @property
    def key(self) -> str:
        """The name its value has in the command's values."""
        return self.name.lstrip("-").replace("-", "_")
