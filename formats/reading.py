"""What a reader is asked and what it gives back: the two frozen values every format shares.

A reader takes the file's content (bytes or text), the name of its source for messages, and where it
has a use for them the options below. It opens no files: what `.include` wants is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from formats.image import Image

Include: TypeAlias = Callable[[str, str], tuple[str, bytes]]
"""(name as the source gives it, name of the including source) -> (name for messages, content).
Raises FormatError where that file cannot be had."""


@dataclass(frozen=True)
class ReadOptions:
    """What the user asked for beside the file itself.

    at         load address of a format that carries none; origin of a source without .org
    symbols    names a source may use as if it had defined them
    processor  "6502" or "65C02"; only a source asks
    include    where .include and .incbin get their files; None: the source may not have any
    """

    at: int | None = None
    symbols: Mapping[str, int] = field(default_factory=dict)
    processor: str = "6502"
    include: Include | None = None


@dataclass(frozen=True)
class Reading:
    """An image and what should be said about it: whole sentences, each naming file and line.

    labels  names a source defines, with their values (0..FFFF); empty for all other formats
    origin  address of the first byte in file order; None where the format has no such order
    """

    image: Image
    warnings: tuple[str, ...] = ()
    labels: Mapping[str, int] = field(default_factory=dict)
    origin: int | None = None
