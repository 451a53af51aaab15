"""What a user answers about ports, rates and frames, as values. UsageError for what will not do. Pure."""

from __future__ import annotations

import re

from linktool.errors import UsageError
from linktool.frame import read_frame
from linktool.ports import port_kind

FIND = "find"


def port_answer(text: str) -> str:
    """A port's name, looked at but not opened."""
    port_kind(text)
    return text


def rate_answer(text: str) -> int:
    """A rate in baud."""
    if not re.fullmatch(r"[0-9]{2,7}", text) or not 50 <= int(text) <= 4_000_000:
        raise UsageError(f"{text!r} is no rate", "Give baud, as in 2400")
    return int(text)


def rate_or_find(text: str) -> int | None:
    """A rate, or None for FIND."""
    return None if text.lower() == FIND else rate_answer(text)


def frame_answer(text: str) -> str:
    """A frame such as "8N1"."""
    read_frame(text.upper())
    return text.upper()
