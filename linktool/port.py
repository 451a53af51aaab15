"""The contract of a port: a byte channel that owns its clock.

Only the driver calls these. An empty read means "nothing yet", never "closed": a port that is gone
raises PortLost. Times are seconds on the port's own clock, which starts anywhere and never runs back.
"""

from __future__ import annotations

from typing import Protocol


class Port(Protocol):
    """A byte channel that owns its clock. `name` is what the user would type to open it again."""

    name: str

    def now(self) -> float:
        """Seconds on this port's clock."""
        ...

    def write(self, data: bytes) -> None:
        """Hand `data` over whole, in order. PortLost when it is gone; never blocks for ever."""
        ...

    def read(self, until: float) -> bytes:
        """Bytes that have come in, at once if there are any; else wait for the first, at most
        until the clock reads `until`, and return b"" if none came. A time in the past only looks."""
        ...

    def close(self) -> None:
        """Give the channel back. Safe to call twice; never raises."""
        ...
