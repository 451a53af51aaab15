"""From a name to a board: `board:` and options, such as board:machine=dot,latency=0.016,fault=stuck:0280:3:0.

Options stand in any order with commas between; `fault` may come again and again. `board://` is taken for
`board:`. What is not known is a UsageError that names what is.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from linktool.board.adapter import wire_of
from linktool.board.board import Board
from linktool.errors import UsageError
from linktool.machine import Machine, load

DEFAULT_MACHINE = "heron"
DEFAULT_LATENCY_S = 0.002

OPTIONS: dict[str, tuple[str, str]] = {
    "machine": ("NAME or FILE", "the profile it is built after; else that of --machine, else heron"),
    "latency": ("SECONDS", "of the adapter, each way; 0.002 if not given"),
    "jitter": ("SECONDS", "that a byte may be later than the latency"),
    "rate": ("BAUD", "of the adapter; the profile's if not given"),
    "strobe": ("SECONDS", "the adapter needs between two keys; a closer one is lost"),
    "display": ("CHARACTERS A SECOND", "that the display takes; the profile's if not given"),
    "clock": ("HERTZ", "of the processor; the profile's if not given"),
    "seed": ("NUMBER", "for everything that is left to chance; 1 if not given"),
    "fault": ("SPEC", "something that is broken; may be given again"),
}
_LEAST_MOST = {
    "latency": (0.0, 10.0),
    "jitter": (0.0, 10.0),
    "strobe": (0.0, 10.0),
    "rate": (50, 4_000_000),
    "display": (1.0, 100_000.0),
    "clock": (10_000.0, 20_000_000.0),
    "seed": (0, 2**31),
}


def open_board(url: str, machine: Machine | None = None, folder: Path | None = None) -> Board:
    """The board a name asks for. `machine` is the default where the name gives none; `folder` holds the
    user's own profiles.

    UsageError for an option or a fault that is not known, ProfileError for a profile that cannot be
    used, PortError for a machine the board cannot be built after.
    """
    scheme, separator, rest = url.partition(":")
    if scheme.lower() != "board" or not separator:
        raise UsageError(f"{url!r} is no simulated board", "It is written board: or board:NAME=VALUE,...")
    settings, faults = _options(url, rest.removeprefix("//").rstrip("/"))
    if "machine" in settings:
        machine = load(settings["machine"], folder)
    elif machine is None:
        machine = load(DEFAULT_MACHINE)
    wire: dict[str, Any] = {"latency_s": _number(settings, "latency", DEFAULT_LATENCY_S)}
    for option, field in (("jitter", "jitter_s"), ("strobe", "strobe_s"), ("rate", "rate")):
        if option in settings:
            wire[field] = _number(settings, option, 0.0)
    return Board(
        machine,
        wire=wire_of(machine, **wire),
        display_cps=_number(settings, "display", machine.screen.rate_cps),
        clock_hz=_number(settings, "clock", machine.clock_hz),
        faults=faults,
        seed=int(_number(settings, "seed", 1)),
        name=url,
    )


def _options(url: str, text: str) -> tuple[dict[str, str], tuple[str, ...]]:
    settings: dict[str, str] = {}
    faults: list[str] = []
    for part in text.split(",") if text else ():
        name, separator, value = part.partition("=")
        name = name.strip().lower()
        if name not in OPTIONS:
            raise UsageError(f"{url}: no option is called {name!r}", f"Options: {', '.join(OPTIONS)}")
        if not separator or not value:
            raise UsageError(f"{url}: option {name} has no value", f"It is written {name}={OPTIONS[name][0]}")
        if name == "fault":
            faults.append(value.strip())
        elif name in settings:
            raise UsageError(f"{url}: option {name} is given twice", "Only fault may be given again")
        else:
            settings[name] = value.strip()
    return settings, tuple(faults)


def _number(settings: dict[str, str], name: str, default: float) -> float:
    if name not in settings:
        return default
    least, most = _LEAST_MOST[name]
    whole = isinstance(least, int)
    try:
        value: float = int(settings[name]) if whole else float(settings[name])
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        kind = "a whole number" if whole else "a number"
        raise UsageError(
            f"board option {name} is {settings[name]!r}; allowed: {kind} from {least:g} to {most:g}"
        )
    return value
