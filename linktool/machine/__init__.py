"""Machine profiles: what one target is, as data. TOML in, frozen dataclasses out.

Everything that depends on the user's board stands in its profile: memory map, reserved areas, symbols,
screen, keys, what its monitor must be sent and how it answers, link settings, chip places. Nothing here
knows of ports or of typing.
"""

from linktool.machine.profile import SHIPPED, available, load, parse, shipped
from linktool.machine.values import (
    KINDS,
    Area,
    Chip,
    Dialect,
    Keys,
    Kind,
    Link,
    Machine,
    Reserved,
    Screen,
    characters_per_second,
    frame_bits,
    with_link,
)

__all__ = [
    "KINDS",
    "SHIPPED",
    "Area",
    "Chip",
    "Dialect",
    "Keys",
    "Kind",
    "Link",
    "Machine",
    "Reserved",
    "Screen",
    "available",
    "characters_per_second",
    "frame_bits",
    "load",
    "parse",
    "shipped",
    "with_link",
]
