"""What the shell has in hand: the image, where it starts, and what is proven of it and when.

A proof is only as good as what happened since: after a program ran, or keys went in by hand, it is said
that memory may have changed. Nothing here touches a port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from formats.image import Image
from linktool.commands import Values

PROVING = ("enter", "check")
CHANGING = ("run", "talk", "type")


@dataclass(frozen=True)
class Proof:
    """what: "proven", "NOT proven", "sent, not verified" or "stopped". at: when. since: what has been
    done after it that may have changed memory, or ""."""

    what: str
    at: datetime
    since: str = ""

    def __str__(self) -> str:
        return f"{self.what} {self.at:%H:%M}" + (f", then {self.since}" if self.since else "")


@dataclass(frozen=True)
class InHand:
    """The image in hand, as it was asked for and as it was read."""

    names: tuple[str, ...]
    at: int | None
    format: str | None
    image: Image
    proof: Proof | None = None

    @property
    def start(self) -> int | None:
        """Where `run` begins: the image's start address, else its first byte."""
        if self.image.start is not None:
            return self.image.start
        return self.image.extent.first if self.image.extent else None

    def __str__(self) -> str:
        where = ", ".join(str(segment.range) for segment in self.image.segments[:2])
        more = ", ..." if len(self.image.segments) > 2 else ""
        size = "1 byte" if len(self.image) == 1 else f"{len(self.image):,} bytes"
        return f"{' '.join(self.names)} {where}{more} ({size})"

    def held(self) -> dict[str, Any]:
        """The values it gives to a command that was given none."""
        held = {"image": list(self.names), "at": self.at, "format": self.format, "address": self.start}
        return {name: value for name, value in held.items() if value is not None}


def after(
    before: InHand | None, command: str, values: Values, report: object, now: datetime
) -> InHand | None:
    """What is in hand after a command: the image it was given, if any, and how its proof stands."""
    hand = before
    image, names = getattr(report, "image", None), values.get("image")
    if isinstance(image, Image) and image and names:
        same = before is not None and before.image == image
        proof = before.proof if before and same else None
        hand = InHand(tuple(names), values.get("at"), values.get("format"), image, proof)
    if hand is None:
        return None
    if command == "resume" and isinstance(image, Image) and hand.image == image:
        return replace(hand, proof=Proof(_outcome(report), now))
    if command in PROVING and names:
        ran = getattr(report, "ran", None) is not None
        return replace(hand, proof=Proof(_outcome(report), now, "run" if ran else ""))
    if command in CHANGING and hand.proof and not getattr(report, "lost", ""):
        return replace(hand, proof=replace(hand.proof, since=command))
    return hand


def _outcome(report: object) -> str:
    if getattr(report, "lost", "") or getattr(report, "stopped", False):
        return "stopped"
    if getattr(report, "differences", ()):
        return "NOT proven"
    return "sent, not verified" if getattr(report, "proof", "none") == "none" else "proven"
