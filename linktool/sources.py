"""Images for a command: files in any format, or programs of the library, together in one image."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from formats import files
from formats.image import Image, OverlapError, hex4
from linktool.bench import Bench
from linktool.errors import UsageError
from linktool.spelling import did_you_mean


def gather(
    bench: Bench, names: list[str], at: int | None, format: str | None
) -> tuple[Image, tuple[str, ...]]:
    """All of `names` as one image, and the warnings there were. `at` moves the first one.

    FormatError for a file that is refused; UsageError where two of them claim the same address.
    """
    whole = Image()
    warnings: list[str] = []
    for number, name in enumerate(names):
        if name in names[:number]:
            raise UsageError(f"{name} is given twice", "Give it once")
        image, remarks = one(bench, name, None if number else at, format)
        warnings.extend(remarks)
        try:
            whole = whole.overlay(image)
        except OverlapError as error:
            others = " or ".join(names[:number])
            raise UsageError(
                f"{name} claims {hex4(error.address)}, which {others} holds too", "Move one of them"
            ) from None
    return whole, tuple(warnings)


def one(bench: Bench, name: str, at: int | None, format: str | None) -> tuple[Image, tuple[str, ...]]:
    """One file, or one program built for the machine in hand."""
    if not Path(name).exists():
        from linktool import library

        programs = library.available(bench.folders.programs)
        if name in programs:
            built = library.build(library.load(name, bench.folders.programs), bench.machine, at=at)
            return replace(built.image, start=built.start), built.warnings
        if re.fullmatch(r"[a-z0-9-]+", name):
            raise UsageError(
                f"{name}: there is no such file, and no program of that name in the library",
                f"{did_you_mean(name, programs)}`linktool programs` lists them",
            )
    symbols, processor = bench.machine.symbols, bench.machine.processor
    loaded = files.load(name, format=format, at=at, symbols=symbols, processor=processor)
    return loaded.image, loaded.warnings
