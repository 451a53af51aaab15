"""What is known of a serial port that is there: device, description, USB numbers, a name that stays.

Pure data and its order: ports that something is known of first, numbers in them by value.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class PortInfo:
    """`device` is what to give as --port. `alias` is a second path that stays the same when the
    device is plugged in elsewhere, or "". vendor_id and product_id are USB's 16-bit numbers, or None."""

    device: str
    description: str = ""
    vendor_id: int | None = None
    product_id: int | None = None
    serial_number: str = ""
    alias: str = ""

    @property
    def known(self) -> bool:
        """False for a port that is only a name: often a connector that the computer lacks."""
        return bool(self.description) or self.vendor_id is not None

    @property
    def usb(self) -> str:
        """USB vendor and product as "0403:6001", or ""."""
        if self.vendor_id is None or self.product_id is None:
            return ""
        return f"{self.vendor_id:04X}:{self.product_id:04X}"


def in_order(ports: Iterable[PortInfo]) -> tuple[PortInfo, ...]:
    """Ports that are only names last; COM10 after COM9."""

    def place(port: PortInfo) -> tuple[bool, list[tuple[int, str]]]:
        parts = re.split(r"(\d+)", port.device)
        return not port.known, [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]

    return tuple(sorted(ports, key=place))


def shown(ports: Iterable[PortInfo]) -> str:
    """One line: "/dev/ttyUSB0 (USB serial converter), /dev/ttyS0"."""
    return ", ".join(
        f"{port.device} ({port.description})" if port.description else port.device for port in ports
    )
