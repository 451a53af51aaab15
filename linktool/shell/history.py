"""Lines of earlier evenings, in a file only its owner may read. Without a place to write, in memory.

One line an entry, oldest first. The file is cut to CAPPED entries when it has grown to twice as many.
No failure of the disk ever reaches the prompt.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

CAPPED = 2000
LARGEST_FILE = 4 << 20


class History:
    """`lines` are oldest first."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.lines = self._read()
        if len(self.lines) >= 2 * CAPPED:
            self._cut()

    def add(self, line: str) -> None:
        """Keep a line; the same one twice running is kept once."""
        text = " ".join(line.split("\n")).strip()
        if not text or (self.lines and self.lines[-1] == text):
            return
        self.lines.append(text)
        with contextlib.suppress(OSError):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            with open(descriptor, "a", encoding="utf-8", errors="replace", newline="\n") as file:
                file.write(text + "\n")

    def _read(self) -> list[str]:
        try:
            with self._path.open("rb") as file:
                file.seek(max(0, self._path.stat().st_size - LARGEST_FILE))
                text = file.read(LARGEST_FILE).decode("utf-8", "replace")
        except OSError:
            return []
        shown = ("".join(c for c in line if c.isprintable()).strip() for line in text.split("\n"))
        return [line for line in shown if line]

    def _cut(self) -> None:
        self.lines = self.lines[-CAPPED:]
        part = self._path.with_name(f"{self._path.name}.{os.getpid()}.part")
        try:
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with open(descriptor, "w", encoding="utf-8", newline="\n") as file:
                file.write("".join(line + "\n" for line in self.lines))
            os.replace(part, self._path)
        except OSError:
            with contextlib.suppress(OSError):
                part.unlink()
