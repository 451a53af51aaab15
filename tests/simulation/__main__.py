"""Play many sessions and print the table, or one again: see the package's docstring."""

from __future__ import annotations

import argparse
import multiprocessing
import signal
import sys
from pathlib import Path

from linktool.trace import Entry, as_line
from tests.simulation.extras import draw
from tests.simulation.many import play_many
from tests.simulation.plan import LARGEST
from tests.simulation.session import play
from tests.simulation.tally import Tally

SHOWN = ("display_cps", "clock_hz", "disturbance", "memory_faults", "there", "changed")


def play_one(seed: int, trace: str | None, largest: int, plain: bool) -> Tally:
    """One session, told step by step; all that passed over the port into a file if asked."""
    entries: list[Entry] = []
    plan = draw(seed, largest, plain)
    print(f"{'machine':<14} {plan.machine.name}, {plan.machine.link}")
    print(f"{'wire':<14} {plan.wire}")
    for name in SHOWN:
        print(f"{name:<14} {getattr(plan, name)}")
    for step in plan.steps:
        print(f"{'step':<14} {step}")
    print(f"{'image':<14} {', '.join(str(segment.range) for segment in plan.image.segments)}")
    outcome = play(seed, entries.append if trace else None, largest, plain)
    print(*outcome.told, sep="\n")
    if trace:
        Path(trace).write_text("".join(as_line(entry) + "\n" for entry in entries), "ascii")
    tally = Tally()
    tally.add(outcome)
    return tally


def tell(line: str) -> None:
    """How far it is goes to standard error: the table alone is on standard output."""
    print(line, file=sys.stderr, flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    parser.add_argument("--sessions", type=int, default=1000, help="how many")
    parser.add_argument("--seed", type=int, default=1, help="the run's seed; each session has its own")
    parser.add_argument("--jobs", type=int, default=multiprocessing.cpu_count(), help="processes at once")
    parser.add_argument("--only", type=int, help="one session, by its own seed")
    parser.add_argument("--trace", help="with --only: a file for all that passed over the port")
    parser.add_argument(
        "--largest", type=int, default=LARGEST, help="bytes a stretch of an image at most; part of the seed"
    )
    parser.add_argument(
        "--plain", action="store_true", help="no tests of memory and no one-way links; part of the seed"
    )
    asked = parser.parse_args()
    if asked.only is not None:
        tally = play_one(asked.only, asked.trace, asked.largest, asked.plain)
    else:
        tally = Tally()
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            play_many(asked.seed, asked.sessions, asked.jobs, tally, tell, asked.largest, asked.plain)
        except KeyboardInterrupt:
            tell("stopped: the table is of the sessions so far")
    print(*tally.rows(), sep="\n")
    return 1 if tally.broken else 0


if __name__ == "__main__":
    sys.exit(main())
