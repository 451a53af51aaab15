"""The monitor ROM assembled by three assemblers of Debian as well, to the same bytes.

Sources: 64tass 1.58, ca65/ld65 (cc65 2.19), xa65 2.3.14. monitor.s keeps to a subset that turns into each
assembler's own writing by replacing directives.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from linktool.board import monitor

PACKAGES = {"64tass": "64tass", "ca65": "cc65", "xa": "xa65"}
FLAT = "MEMORY { ALL: start = 0, size = $10000, file = %O; }\nSEGMENTS { CODE: load = ALL, type = rw; }\n"


def source_for(name: str, origin: str, byte: str = ".byte") -> str:
    """The constants of a shipped machine and the source, directives replaced, comments left out."""
    head = "".join(f"{key} = {value}\n" for key, value in monitor.constants(*monitor.SHIPPED[name]).items())
    text = re.sub(r"[ ]*;.*", "", monitor.SOURCE.read_text())
    text = re.sub(r"^\.alias (\w+) +(\S+)", r"\1 = \2", text, flags=re.MULTILINE)
    return head + text.replace(".org", origin).replace(".byte", byte)


def run(*words: str, cwd: Path) -> None:
    done = subprocess.run(words, cwd=cwd, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def by_64tass(name: str, folder: Path) -> bytes:
    (folder / "in.s").write_text(source_for(name, "* ="))
    run("64tass", "-q", "--nostart", "--m6502", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


def by_ca65(name: str, folder: Path) -> bytes:
    (folder / "in.s").write_text(source_for(name, ".org"))
    (folder / "flat.cfg").write_text(FLAT)
    run("ca65", "--cpu", "6502", "-o", "in.o", "in.s", cwd=folder)
    run("ld65", "-C", "flat.cfg", "-o", "out", "in.o", cwd=folder)
    return (folder / "out").read_bytes()


def by_xa(name: str, folder: Path) -> bytes:
    text = source_for(name, "* =", ".byt")
    (folder / "in.s").write_text(re.sub(r"^(\w+):", r"\1", text, flags=re.MULTILINE))
    run("xa", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


ASSEMBLERS = {"64tass": by_64tass, "ca65": by_ca65, "xa": by_xa}


@pytest.mark.parametrize("name", sorted(monitor.SHIPPED))
@pytest.mark.parametrize("tool", ASSEMBLERS)
def test_another_assembler_gives_the_same_rom(tool: str, name: str, tmp_path: Path) -> None:
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed (Debian package {PACKAGES[tool]})")
    assert ASSEMBLERS[tool](name, tmp_path) == (monitor.FOLDER / f"monitor_{name}.bin").read_bytes()
