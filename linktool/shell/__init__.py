"""The session shell: the same verbs as the command line, with port, machine and image remembered.

line.py         a line as words                     session.py     Shell.execute(line) -> Result
reading.py      words as a command's values         memory.py      what is in hand, and what is proven
completion.py   what may stand at the cursor        help.py        help that fits a screen
history.py      lines of earlier evenings           script.py      when input is no terminal
prompt.py       the prompt; the only file of linktool that imports prompt_toolkit
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linktool.bench import Bench


def open_shell(bench: Bench) -> int:
    """Run the shell until it is left; returns the exit status. Lines come from the prompt, or one by one
    from standard input when that, or standard output, is no terminal."""
    from linktool.shell.session import Shell

    shell = Shell(bench)
    try:
        if sys.stdin.isatty() and sys.stdout.isatty():
            from linktool.shell.prompt import talk_to_user

            return talk_to_user(shell)
        from linktool.keyboard import pipe
        from linktool.shell.script import run_script

        return run_script(shell, pipe(sys.stdin).read_line)
    finally:
        bench.close()
