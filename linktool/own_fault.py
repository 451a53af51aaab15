"""A fault of linktool itself, which should never be: one sentence for the user, the rest into a file.

Rules: no traceback reaches a terminal, and nothing of it is lost. The file holds the last fault only.
"""

from __future__ import annotations

import traceback
from pathlib import Path

from linktool.errors import OWN_FAULT, LinktoolError

FILE = "fault.txt"


class OwnFault(LinktoolError):
    """Something in linktool is wrong, not in what was asked of it."""

    exit_status = OWN_FAULT


def kept(error: Exception, folder: Path) -> OwnFault:
    """The fault as an error for the user, its traceback written to `folder`; what to do stands in it."""
    path = folder / FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text("".join(traceback.format_exception(error)), encoding="utf-8", errors="replace")
        where = f"The details are in {path}; please report them"
    except OSError:
        last = traceback.extract_tb(error.__traceback__)[-1:]
        place = f"{Path(last[0].filename).name}, line {last[0].lineno}" if last else "an unknown place"
        where = f"It was in {place}; please report it"
    return OwnFault(
        f"linktool itself went wrong, and stopped: {type(error).__name__}: {error}",
        f"Check what was last entered before you trust it. {where}",
    )
