"""The routines assembled by three assemblers of Debian as well, to the same bytes.

Sources: 64tass 1.58, ca65/ld65 (cc65 2.19), xa65 2.3.14, run with the same symbols at the same place. The
sources keep to a subset that turns into each assembler's own writing by a few rules (`written`).
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest

from linktool.resident import routines
from tests.linktool.resident.rig import built

PACKAGES = {"64tass": "64tass", "ca65": "cc65", "xa": "xa65"}
SOURCES = Path(routines.__file__).parent


def written(name: str, symbols: Mapping[str, int], origin: str) -> str:
    source = (SOURCES / name).read_text("ascii")
    source = re.sub(r";.*", "", source)
    source = re.sub(r"^\.alias (\w+) +(\S+)", r"\1 = \2", source, flags=re.MULTILINE)
    used = {key: value for key, value in symbols.items() if re.search(rf"\b{key}\b", source)}
    head = "".join(f"{key} = ${value:X}\n" for key, value in used.items())
    return head + origin + "\n" + source


def run(*words: str, cwd: Path) -> None:
    done = subprocess.run(words, cwd=cwd, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def by_64tass(name: str, symbols: Mapping[str, int], at: int, folder: Path) -> bytes:
    (folder / "in.s").write_text(written(name, symbols, f"* = ${at:04X}"))
    run("64tass", "-q", "--nostart", "--m6502", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


def by_ca65(name: str, symbols: Mapping[str, int], at: int, folder: Path) -> bytes:
    (folder / "in.s").write_text(written(name, symbols, f".org ${at:04X}"))
    (folder / "flat.cfg").write_text(
        "MEMORY { ALL: start = 0, size = $10000, file = %O; }\nSEGMENTS { CODE: load = ALL, type = rw; }\n"
    )
    run("ca65", "--cpu", "6502", "-o", "in.o", "in.s", cwd=folder)
    run("ld65", "-C", "flat.cfg", "-o", "out", "in.o", cwd=folder)
    return (folder / "out").read_bytes()


def by_xa(name: str, symbols: Mapping[str, int], at: int, folder: Path) -> bytes:
    text = re.sub(r"^(\w+):", r"\1", written(name, symbols, f"* = ${at:04X}"), flags=re.MULTILINE)
    (folder / "in.s").write_text(text)
    run("xa", "-o", "out", "in.s", cwd=folder)
    return (folder / "out").read_bytes()


ASSEMBLERS = {"64tass": by_64tass, "ca65": by_ca65, "xa": by_xa}


@pytest.mark.parametrize("machine_name", ["heron", "dot"])
@pytest.mark.parametrize("tool", ASSEMBLERS)
def test_another_assembler_gives_the_same_bytes(tool: str, machine_name: str, tmp_path: Path) -> None:
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed (Debian package {PACKAGES[tool]})")
    machine, found = built(machine_name)
    place = found.placement
    loader = routines.bootstrap(machine, place)
    assert loader is not None and place.window is not None
    symbols = {
        **machine.symbols,
        "cells": place.cells,
        "buffer": place.buffer,
        "size": place.size,
        "mark": ord(found.mark),
        "window": place.window.first,
    }
    checker = found.checker.segments[0]
    # Where sum and home stand in the checker: behind the two loops, see checker.s.
    links = {"home": checker.first + 0x27, "sum": checker.first + 0x2A}
    for name, image, known in (
        ("checker.s", found.checker, symbols),
        ("receiver.s", found.receiver, {**symbols, **links}),
        ("reader.s", found.reader, {**symbols, **links}),
        ("bootstrap.s", loader, symbols),
    ):
        (segment,) = image.segments
        folder = tmp_path / name
        folder.mkdir()
        assert ASSEMBLERS[tool](name, known, segment.first, folder) == segment.data, name
