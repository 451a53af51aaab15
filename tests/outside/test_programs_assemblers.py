"""Every program assembled by three assemblers of Debian as well, to the same bytes.

Sources: 64tass 1.58, ca65/ld65 (cc65 2.19), xa65 2.3.14, run with the same symbols at the same place. The
sources keep to a subset that turns into each assembler's own writing by a few rules (`_written`).
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from linktool import library, machine

TOOLS = {"64tass": "64tass", "ca65": "cc65", "xa": "xa65"}


def _needs(tool: str) -> None:
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed (Debian package {TOOLS[tool]})")


def _written(
    built: library.Built, constant: str, byte: str, text: str, word: str, origin: str, one: str
) -> str:
    """The program as another assembler wants it written; each pattern is that assembler's own form."""
    source = re.sub(r"^\.alias (\w+) (\S+)", constant, built.program.source, flags=re.MULTILINE)
    source = re.sub(r'\.byte (?=")', text + " ", source)
    source = source.replace(".byte ", byte + " ").replace(".word", word)
    source = re.sub(r"#'(.)", one, source)
    symbols = {**built.machine.symbols, **built.values}
    used = {name: value for name, value in symbols.items() if re.search(rf"\b{name}\b", source)}
    head = "".join(f"{name} = ${value:X}\n" for name, value in used.items())
    return head + origin.format(f"${built.image.segments[0].first:04X}") + "\n" + source


def _run(*words: str, cwd: Path) -> None:
    done = subprocess.run(words, cwd=cwd, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _64tass(built: library.Built, folder: Path) -> bytes:
    text = _written(built, r"\1 = \2", ".byte", ".text", ".word", "* = {}", r"#'\1'")
    (folder / "in.s").write_text(text)
    _run("64tass", "-q", "--nostart", "--m6502", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


def _ca65(built: library.Built, folder: Path) -> bytes:
    text = _written(built, r"\1 = \2", ".byte", ".byte", ".word", ".org {}", r"#'\1'")
    (folder / "in.s").write_text(text)
    (folder / "flat.cfg").write_text(
        "MEMORY { ALL: start = 0, size = $10000, file = %O; }\nSEGMENTS { CODE: load = ALL, type = rw; }\n"
    )
    _run("ca65", "--cpu", "6502", "-o", "in.o", "in.s", cwd=folder)
    _run("ld65", "-C", "flat.cfg", "-o", "out", "in.o", cwd=folder)
    return (folder / "out").read_bytes()


def _xa(built: library.Built, folder: Path) -> bytes:
    text = _written(built, r"\1 = \2", ".byt", ".byt", ".word", "* = {}", r'#"\1"')
    text = re.sub(r";.*", "", text)  # a colon or a backslash in a comment has a meaning there
    text = re.sub(r"^(\w+):", r"\1", text, flags=re.MULTILINE)
    (folder / "in.s").write_text(text)
    _run("xa", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


ASSEMBLERS = {"64tass": _64tass, "ca65": _ca65, "xa": _xa}


@pytest.mark.parametrize("machine_name", ["heron", "dot"])
@pytest.mark.parametrize("tool", ASSEMBLERS)
def test_another_assembler_gives_the_same_bytes(tool: str, machine_name: str, tmp_path: Path) -> None:
    _needs(tool)
    for name in library.available():
        built = library.build(library.load(name), machine.load(machine_name))
        folder = tmp_path / name
        folder.mkdir()
        (segment,) = built.image.segments
        assert ASSEMBLERS[tool](built, folder) == segment.data, name
