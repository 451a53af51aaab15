"""A shell on the simulated board, with its own folders and what it shows kept as text."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

from linktool.bench import Bench
from linktool.folders import Folders
from linktool.shell.session import Shell

PROGRAM = "0280: A9 00 8D 00 03 4C 00 FF\n"


class Rig:
    """`run` executes lines; `out` and `err` hold what was shown since the last look."""

    def __init__(self, folder: Path, port: str | None = "board:") -> None:
        self.folder = folder
        self._out, self._err = io.StringIO(), io.StringIO()
        where = Folders(folder / "config", folder / "data", folder / "state")
        self.bench = Bench(where, port=port)
        self.shell = Shell(self.bench, self._out, self._err, lambda: datetime(2026, 11, 25, 21, 14))
        self.file = folder / "small.txt"
        self.file.write_text(PROGRAM)

    def run(self, *lines: str) -> int:
        """Exit status of the last one."""
        status = 0
        for line in lines:
            status = self.shell.execute(line).exit_status
        return status

    @property
    def out(self) -> str:
        return _taken(self._out)

    @property
    def err(self) -> str:
        return _taken(self._err)


def _taken(stream: io.StringIO) -> str:
    text = stream.getvalue()
    stream.seek(0)
    stream.truncate()
    return text
