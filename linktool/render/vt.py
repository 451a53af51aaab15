"""What a terminal can do: move its cursor, show colour. Nothing is asked of it: settings tell.

NO_COLOR and TERM=dumb are respected. A Windows console has its control sequences switched on here.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from typing import TextIO

_VIRTUAL_TERMINAL = 0x0004
_STANDARD_OUTPUT, _STANDARD_ERROR = -11, -12


def moves_cursor(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Whether `stream` is a terminal that obeys cursor movements."""
    if not stream.isatty() or environment.get("TERM") in ("dumb", "unknown"):
        return False
    if sys.platform == "win32":
        return _switch_on(_STANDARD_ERROR if stream is sys.stderr else _STANDARD_OUTPUT)
    return True


def colourful(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Whether colour may be used on `stream`."""
    return moves_cursor(stream, environment) and not environment.get("NO_COLOR")


def _switch_on(which: int) -> bool:
    if sys.platform != "win32":
        return True
    import ctypes

    kernel = ctypes.windll.kernel32
    handle, mode = kernel.GetStdHandle(which), ctypes.c_ulong()
    if not kernel.GetConsoleMode(handle, ctypes.byref(mode)):
        return False
    return bool(kernel.SetConsoleMode(handle, mode.value | _VIRTUAL_TERMINAL))
