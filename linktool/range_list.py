"""Lists of ranges as a person writes them in one line: "0000-0FFF 2000-2FFF", "workspace 00F0-00FF, ...".

UsageError for what is none, and where two ranges of a list share an address. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

from formats.image import Range
from linktool.arguments import parse_range
from linktool.errors import UsageError
from linktool.machine import Area, Kind, Reserved

NONE = "none"


def parse_ranges(text: str) -> tuple[Range, ...]:
    """Ranges with blanks or commas between, sorted; "none" for none."""
    if text.strip().lower() in ("", NONE):
        return ()
    found = sorted(parse_range(word) for word in re.split(r"[,\s]+", text.strip()) if word)
    for before, after in pairwise(found):
        if after.first <= before.last:
            raise UsageError(f"{before} and {after} overlap", "Give each address once")
    return tuple(found)


def shown_ranges(ranges: Iterable[Range]) -> str:
    return " ".join(str(each) for each in ranges) or NONE


def parse_reserved(text: str, before: Sequence[Reserved]) -> tuple[Reserved, ...]:
    """Names and ranges, commas between; a name known before keeps its reason."""
    reasons = {each.name: each.reason for each in before}
    found = []
    for part in text.split(",") if text.strip().lower() not in ("", NONE) else ():
        match = re.fullmatch(r"\s*([a-z][a-z0-9-]*)\s+(\S+)\s*", part)
        if not match:
            raise UsageError(
                f"{part.strip()!r} is no reserved area", "Write a name and a range: stack 0100-01FF"
            )
        found.append(Reserved(match[1], parse_range(match[2]), reasons.get(match[1], "named at setup")))
    return tuple(found)


def shown_reserved(areas: Iterable[Reserved]) -> str:
    return ", ".join(f"{each.name} {each.range}" for each in areas) or NONE


def areas_of(ranges: Iterable[Range], kind: Kind, before: Sequence[Area], words: str) -> list[Area]:
    """Areas of one kind; a range known before keeps its label."""
    labels = {each.range: each.label for each in before}
    return [Area(each, kind, labels.get(each, words)) for each in ranges]
