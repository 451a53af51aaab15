"""When a descriptor can be read or written: the one place that asks the system.

`select` is used because it waits to the microsecond and knows sockets on every system; `poll` where a
descriptor's number is too high for it. Hang-up counts as readable: the read that follows says what it is.
"""

from __future__ import annotations

import select
import sys

SELECT_LIMIT = 1024
"""FD_SETSIZE of POSIX systems; Python's select refuses higher numbers there."""


def ready(descriptor: int, seconds: float, *, to_write: bool = False) -> bool:
    """True as soon as `descriptor` can be read (or written), False after `seconds`; 0 only looks.

    OSError or ValueError when the descriptor is closed.
    """
    seconds = max(0.0, seconds)
    if sys.platform != "win32" and descriptor >= SELECT_LIMIT:
        waiter = select.poll()
        waiter.register(descriptor, select.POLLOUT if to_write else select.POLLIN)
        return bool(waiter.poll(seconds * 1000))
    wanted = [descriptor]
    found = select.select([] if to_write else wanted, wanted if to_write else [], wanted, seconds)
    return any(found)
