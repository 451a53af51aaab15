"""Somebody at the keyboard: types key by key on a board and notes all that is printed."""

from __future__ import annotations

from linktool.board.board import Board

QUIET_S = 0.15
"""Longer than the display, the adapter and the longest line's parsing take together."""


def listen(board: Board, quiet_s: float = QUIET_S) -> str:
    """All that is printed until nothing comes for so long."""
    heard = bytearray()
    while data := board.read(board.now() + quiet_s):
        heard += data
        assert len(heard) < 20_000, f"it does not stop printing: {heard[:200]!r}"
    return heard.decode("ascii")


def type_keys(board: Board, text: str, quiet_s: float = QUIET_S) -> str:
    """Type the keys, each after the echo of the one before; what was printed, the answer included."""
    heard = ""
    for key in text:
        board.write(key.encode("ascii"))
        heard += board.read(board.now() + quiet_s).decode("ascii")
    return heard + listen(board, quiet_s)
