"""Frames of a serial character ("7E1": data bits, parity, stop bits), and 7-bit ones on 8-bit adapters.

Seven data bits and a parity bit are the same ten bits on the wire as eight data bits whose top bit is that
parity, and a second stop bit is a top bit that is always 1 (structure of the character: CACM 8(9), 1965,
553-556). So an adapter that knows only 8N1 or 8N2 can speak most 7-bit frames. Pure; opens nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from linktool.errors import UsageError

_ALL = range(256)


def _parity(code: int) -> int:
    """1 when an odd number of the low seven bits are set."""
    return (code & 0x7F).bit_count() & 1


AS_IT_IS = bytes(_ALL)
SEVEN_BITS = bytes(code & 0x7F for code in _ALL)
EVEN_ON_TOP = bytes(code & 0x7F | _parity(code) << 7 for code in _ALL)
ODD_ON_TOP = bytes(code & 0x7F | (1 - _parity(code)) << 7 for code in _ALL)
MARK_ON_TOP = bytes(code | 0x80 for code in _ALL)


@dataclass(frozen=True)
class Frame:
    """What the adapter is set to, and the tables that bytes go through on their way out and in."""

    data_bits: int
    parity: str
    stop_bits: int
    outgoing: bytes = AS_IT_IS
    incoming: bytes = AS_IT_IS

    @property
    def is_special(self) -> bool:
        """True for what some drivers refuse: anything but eight bits without parity."""
        return (self.data_bits, self.parity) != (8, "N")


def read_frame(text: str) -> Frame:
    """ "8N1", "7E1"... as a Frame; UsageError when it is none."""
    if len(text) != 3 or text[0] not in "78" or text[1] not in "NEO" or text[2] not in "12":
        raise UsageError(
            f"the frame {text!r} is none", "Write data bits, parity and stop bits, as in 8N1 or 7E1"
        )
    seven = SEVEN_BITS if text[0] == "7" else AS_IT_IS
    return Frame(int(text[0]), text[1], int(text[2]), seven, seven)


def on_eight_bits(text: str) -> Frame | None:
    """The same bits on the wire as `text`, made with eight data bits and no parity.

    None for the frames that have no such form: 7N1 is a bit shorter, 8E1 and 8O1 a bit longer.
    """
    form = {
        "7E1": (1, EVEN_ON_TOP),
        "7O1": (1, ODD_ON_TOP),
        "7N2": (1, MARK_ON_TOP),
        "7E2": (2, EVEN_ON_TOP),
    }.get(text)
    return Frame(8, "N", form[0], form[1], SEVEN_BITS) if form else None


def on_pseudo_terminal(text: str) -> Frame:
    """A pseudo-terminal carries bytes, not frames: eight bits, of which `text` may keep seven."""
    frame = read_frame(text)
    return Frame(8, "N", 1, frame.outgoing, frame.incoming)
