"""Lines that come from a pipe or a file: run one after the other, up to the first that fails."""

from __future__ import annotations

from collections.abc import Callable

from linktool.errors import DONE
from linktool.shell.session import Shell


def run_script(shell: Shell, next_line: Callable[[], str | None]) -> int:
    """The exit status of the line that failed, 0 when none did. Says which line it was."""
    number = 0
    while (line := next_line()) is not None:
        number += 1
        result = shell.execute(line)
        if result.exit_status != DONE:
            shell.tell_error(f"stopped at line {number}: {line.strip()}")
            return result.exit_status
        if result.leave:
            break
    return DONE
