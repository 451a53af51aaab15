"""SIGINT and SIGTERM as a count of wishes to stop, which the driver looks at."""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator

DEAF_S = 2.0


@contextlib.contextmanager
def interrupts(deaf_s: float = DEAF_S) -> Iterator[Callable[[], int]]:
    """Count SIGINT and SIGTERM instead of dying of them; gives the `stop` for drive.

    The handlers of before are put back at the end. Outside the main thread nothing is installed.
    If nobody has asked for `deaf_s` seconds, a third wish and every later one raises KeyboardInterrupt.
    """
    if threading.current_thread() is not threading.main_thread():
        yield lambda: 0
        return
    count = 0
    heard = time.monotonic()

    def wish(number: int, frame: object) -> None:
        nonlocal count
        count += 1
        if count > 2 and time.monotonic() - heard > deaf_s:
            raise KeyboardInterrupt

    def stop() -> int:
        nonlocal heard
        heard = time.monotonic()
        return count

    before = {number: signal.signal(number, wish) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler if handler is not None else signal.SIG_DFL)
