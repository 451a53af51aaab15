"""Fuzz by hand: see the package's docstring."""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

from tests.fuzz.mutation import mutated

if TYPE_CHECKING:
    from tests.fuzz.targets import Target

SLOW_S = 2.0
"""A call that takes longer counts as a hang."""


def checked(target: Target) -> Callable[[bytes], None]:
    """The target as a function that raises only what is a find."""

    def run(data: bytes) -> None:
        began = time.monotonic()
        with contextlib.suppress(*target.refusals):
            target.run(data)
        if time.monotonic() - began > SLOW_S:
            raise TimeoutError(f"{len(data)} bytes took {time.monotonic() - began:.1f} s")

    return run


def by_mutation(target: Target, seconds: float, seed: int, finds: Path) -> tuple[int, int]:
    """Calls made, and different finds."""
    random, run = Random(f"{seed} {target.name}"), checked(target)
    seen: set[str] = set()
    calls, end = 0, time.monotonic() + seconds
    while time.monotonic() < end:
        data = mutated(target.samples, random)
        calls += 1
        try:
            run(data)
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            kind = f"{type(error).__name__} in {Path(where.filename).name}, line {where.lineno}"
            if kind not in seen:
                seen.add(kind)
                keep(target, data, finds)
                print(f"{target.name}: {kind}: {error}\n    {data[:200]!r}", flush=True)
    return calls, len(seen)


def keep(target: Target, data: bytes, finds: Path) -> None:
    """Write a find to a file."""
    finds.mkdir(parents=True, exist_ok=True)
    (finds / f"{target.name}-{hashlib.sha256(data).hexdigest()[:12]}").write_bytes(data)


def by_coverage(target: Target, seconds: float, finds: Path) -> None:
    """Guided by coverage; does not return. The targets were imported under instrumentation."""
    import atheris

    corpus = finds / "corpus" / target.name
    corpus.mkdir(parents=True, exist_ok=True)
    for number, sample in enumerate(target.samples):
        (corpus / f"sample-{number}").write_bytes(sample)
    run: Any = checked(target)
    atheris.Setup(
        [
            sys.argv[0],
            str(corpus),
            f"-max_total_time={int(seconds)}",
            "-max_len=4096",
            f"-timeout={int(SLOW_S) + 8}",
            f"-artifact_prefix={finds}/{target.name}-",
            "-print_final_stats=1",
            "-verbosity=1",
        ],
        run,
    )
    atheris.Fuzz()


def load_targets(instrumented: bool) -> tuple[Target, ...]:
    """The table; with all that it tries out instrumented for coverage, where that is asked for."""
    if not instrumented:
        from tests.fuzz.targets import TARGETS

        return TARGETS
    import atheris

    with atheris.instrument_imports(include=["formats", "linktool", "tomllib", "json"]):
        from tests.fuzz.targets import TARGETS

        return TARGETS


def main() -> int:
    targets = load_targets("--atheris" in sys.argv)
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("targets", nargs="*", help="some of: " + ", ".join(each.name for each in targets))
    parser.add_argument("--seconds", type=float, default=10.0, help="for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--finds", type=Path, default=Path("fuzz-finds"), help="a folder for what is found")
    parser.add_argument("--atheris", action="store_true", help="guided by coverage; one target")
    asked = parser.parse_args()
    known = {target.name: target for target in targets}
    chosen = [known[name] for name in asked.targets] if asked.targets else list(targets)
    if asked.atheris:
        asked.finds.mkdir(parents=True, exist_ok=True)
        by_coverage(chosen[0], asked.seconds, asked.finds)
    found = 0
    for target in chosen:
        calls, finds = by_mutation(target, asked.seconds, asked.seed, asked.finds)
        found += finds
        print(f"{target.name:<16} {calls:>9,} calls  {finds} finds", flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
