"""`board://OPTIONS` as a pyserial port: the simulated board in the same process, on its own clock.

A read that waits passes the board's time, not the caller's: a timeout of ten seconds is over in a moment.
Rate, parity and modem lines are taken and ignored; the board's own rate is an option of its URL.
"""

from __future__ import annotations

from typing import Any

from serial.serialutil import PortNotOpenError, SerialBase, SerialException

from linktool.board import open_board
from linktool.board.board import Board
from linktool.errors import LinktoolError, PortLost

LONGEST_WAIT_S = 3600.0
"""What a read without a timeout waits at most, of the board's time, between two bytes."""


class Serial(SerialBase):  # type: ignore[misc]  # pyserial has no types
    """The pyserial interface over a Board."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._board: Board | None = None
        self._waiting = bytearray()
        super().__init__(*args, **kwargs)

    @property
    def board(self) -> Board:
        """The board behind the port, to look into. PortNotOpenError before it is open."""
        if self._board is None:
            raise PortNotOpenError()
        return self._board

    def open(self) -> None:
        """Build the board anew. SerialException where the URL cannot be used."""
        if self._port is None:
            raise SerialException("Port must be configured before it can be used.")
        if self._board is not None:
            raise SerialException("Port is already open.")
        try:
            self._board = open_board(self._port)
        except LinktoolError as error:
            raise SerialException(str(error)) from error
        self._waiting.clear()
        self.is_open = True
        self._reconfigure_port()

    def close(self) -> None:
        """Give the board back."""
        if self._board is not None:
            self._board.close()
            self._board = None
        self.is_open = False

    def _reconfigure_port(self) -> None:
        pass

    def _fetch(self, wait_s: float) -> None:
        board = self.board
        try:
            self._waiting += board.read(board.now() + wait_s)
        except PortLost as error:
            if not self._waiting:
                raise SerialException(str(error)) from error

    @property
    def in_waiting(self) -> int:
        """Bytes that have come in by now."""
        self._fetch(0.0)
        return len(self._waiting)

    def read(self, size: int = 1) -> bytes:
        """Up to `size` bytes, waiting as `timeout` says, on the board's clock."""
        board = self.board
        start = board.now()
        while len(self._waiting) < size:
            have = len(self._waiting)
            left = LONGEST_WAIT_S if self._timeout is None else start + self._timeout - board.now()
            self._fetch(max(0.0, left))
            if len(self._waiting) == have:
                break
        data = bytes(self._waiting[:size])
        del self._waiting[:size]
        return data

    def write(self, data: Any) -> int:
        """Hand everything to the board's adapter."""
        sent = bytes(data)
        try:
            self.board.write(sent)
        except PortLost as error:
            raise SerialException(f"write failed: {error}") from error
        return len(sent)

    def flush(self) -> None:
        """Nothing is held back."""
        self.board.now()

    def reset_input_buffer(self) -> None:
        """Drop what has come in by now."""
        self._fetch(0.0)
        self._waiting.clear()

    def reset_output_buffer(self) -> None:
        """What was written is on its way already."""
        self.board.now()

    def _update_break_state(self) -> None:
        self.board.now()

    def _update_rts_state(self) -> None:
        pass

    def _update_dtr_state(self) -> None:
        pass

    @property
    def cts(self) -> bool:
        return self._board is not None

    @property
    def dsr(self) -> bool:
        return self._board is not None

    @property
    def ri(self) -> bool:
        return False

    @property
    def cd(self) -> bool:
        return self._board is not None
