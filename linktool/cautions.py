"""What to mind before a board is wired to anything. Shown where linktool leads someone to the bench.

Voltage levels: TIA-232 drivers -15..-5 and +5..+15 V, receivers -3..-15 and +3..+15 V (SLLA607);
TTL inputs 0 to 5 V, idle high. The rest is common practice. The board's own manual comes first.
"""

from __future__ import annotations

WIRING = (
    "Power: switch the board off, and pull its plug, before you fit or unplug a chip, a cable or an adapter.",
    "Levels: a TTL input takes 0 to 5 V. An RS-232 line swings from -15..-5 to +5..+15 V, which can destroy "
    "it, and is inverted besides. Use an adapter for the levels the board's manual names; measure first.",
    "Ground: join the grounds of board and adapter before the signals. Where both ends are earthed, a "
    "current can flow between them: if you measure a voltage between the grounds, do not connect them.",
    "Static: touch something earthed, or wear a wrist strap, before you touch a chip.",
    "Mains, and picture tubes even when switched off, can kill: leave them to someone qualified for it, "
    "and follow the rules of where you are.",
    "The board's own manual comes before anything said here.",
)

TOUCHING = (
    "Before you touch the board: power off, plug pulled, no static; mains and picture tubes are for people "
    "qualified for them. The board's manual comes first."
)
