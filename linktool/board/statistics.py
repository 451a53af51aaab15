"""What happened on a board, as counts: for tests, and for who wants to know why a session went wrong."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Statistics:
    """What happened on a board so far. Counts of keys and characters; cycles of the processor.

    keys_sent     bytes the host sent                keys_lost    of them, never presented by the adapter
    keys_arrived  presented to the keyboard          keys_taken   read by the processor
    overruns      replaced before they were read     printed      characters the display took
    prints_lost   written while the display was busy
    skipped       cycles of idle polling that were not stepped
    stopped       why the processor stands still, or ""
    """

    keys_sent: int
    keys_lost: int
    keys_arrived: int
    keys_taken: int
    overruns: int
    printed: int
    prints_lost: int
    cycles: int
    skipped: int
    stopped: str
