"""Many sessions on several processes."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable
from functools import partial

from tests.simulation.plan import LARGEST
from tests.simulation.session import play
from tests.simulation.tally import Tally

APART = 1_000_000
CHUNK = 50


def seeds_of(seed: int, sessions: int) -> range:
    """The sessions' own seeds: those of different runs do not meet."""
    return range(seed * APART, seed * APART + sessions)


def play_some(largest: int, plain: bool, seeds: range) -> Tally:
    """The sessions of these seeds, added up."""
    tally = Tally()
    for seed in seeds:
        tally.add(play(seed, largest=largest, plain=plain))
    return tally


def play_many(
    seed: int,
    sessions: int,
    jobs: int,
    whole: Tally,
    tell: Callable[[str], None],
    largest: int = LARGEST,
    plain: bool = False,
) -> None:
    """All sessions on so many processes, added to `whole` as they come; tells how far it is, and each seed
    that broke a rule."""
    seeds = seeds_of(seed, sessions)
    chunks = [seeds[at : at + CHUNK] for at in range(0, sessions, CHUNK)]
    began = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for number, tally in enumerate(pool.imap_unordered(partial(play_some, largest, plain), chunks), 1):
            whole.merge(tally)
            if number % 20 == 0:
                tell(f"{whole.counts['sessions']:,} sessions, {time.monotonic() - began:.0f} s")
            for rule, cases in tally.broken.items():
                for broken_seed, facts in cases:
                    tell(f"seed {broken_seed}: {rule}: {facts}")
