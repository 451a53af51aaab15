"""A port over a serial device. The only file that imports pyserial.

Rules: the port is set up whole before it is opened and no setting is touched after; DTR and RTS go to what
the profile asks for (the system itself raises both for a moment while it opens: no program can prevent it).
Reads take what has come, with deadlines of our own; writes always have an end; output is never flushed.
Every way a system has to say "gone" becomes PortLost, every way to refuse an opening a PortError.
Seven data bits are kept by tables of our own, so that a pseudo-terminal or an 8-bit adapter serves too.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from linktool.errors import PortError, PortLost
from linktool.frame import Frame, on_eight_bits, on_pseudo_terminal, read_frame
from linktool.machine import Link
from linktool.port_info import PortInfo, in_order
from linktool.port_lock import PortLock, holders
from linktool.serial_refusal import FrameNotTaken, refusal, system_number
from linktool.serial_wire import DescriptorWire, Gone, Held, LibraryWire, Wire

if sys.platform != "win32":
    import termios

    FAILURES: tuple[type[Exception], ...] = (OSError, ValueError, TypeError, termios.error)
else:
    FAILURES = (OSError, ValueError, TypeError)
"""What a port that went away raises; termios.error is no OSError, and a closed one gives TypeError."""

WRITE_S = 5.0
_ALIASES = Path("/dev/serial/by-id")


class SerialPort:
    """The Port contract over a serial device; opened when made. `lock` is released at close.

    Raises PortError when it cannot be opened or set. Waits `link.settle_s` before it is ready.
    """

    real_time = True

    def __init__(
        self,
        name: str,
        link: Link,
        *,
        lock: PortLock | None = None,
        sleep: Callable[[float], None] = time.sleep,
        by_library: bool = sys.platform == "win32",
        write_s: float = WRITE_S,
    ) -> None:
        self.name = name
        self._write_s = write_s
        self._lock = lock
        self._stuck = False
        self._port, self._frame = self._opened(link)
        self._wire: Wire = LibraryWire(self._port) if by_library else DescriptorWire(self._port)
        try:
            if sys.platform == "linux":
                _ask_low_latency(self._port)
            if link.settle_s > 0:
                sleep(link.settle_s)
        except BaseException:
            self._close_device()
            raise

    def now(self) -> float:
        return time.monotonic()

    def fileno(self) -> int | None:
        """For waiting on many ports at once; None where the system has no such thing for a serial port."""
        return self._wire.descriptor()

    def write(self, data: bytes) -> None:
        self._still_open()
        try:
            self._wire.write(data.translate(self._frame.outgoing), self.now() + self._write_s)
        except Held as error:
            raise self._held() from error
        except FAILURES as error:
            raise self._held() if _is_timeout(error) else self._lost(error) from error

    def read(self, until: float) -> bytes:
        self._still_open()
        try:
            return self._wire.read(until).translate(self._frame.incoming)
        except Gone as error:
            raise self._gone(error.hung_up) from error
        except FAILURES as error:
            raise self._lost(error) from error

    def close(self) -> None:
        self._close_device()
        if self._lock is not None:
            self._lock.release()

    # ---- opening ------------------------------------------------------------------------------------

    def _opened(self, link: Link) -> tuple[Any, Frame]:
        """The open pyserial port, in the frame of the profile or in one that is the same on the wire."""
        if self._is_pseudo_terminal():
            return self._open_once(link, on_pseudo_terminal(link.frame))
        try:
            return self._open_once(link, read_frame(link.frame))
        except FrameNotTaken as error:
            same = on_eight_bits(link.frame)
            if same is None:
                raise self._refused(error, link) from error
        return self._open_once(link, same)

    def _open_once(self, link: Link, frame: Frame) -> tuple[Any, Frame]:
        import serial

        port: Any = None
        try:
            port = serial.Serial()
            port.port = self.name
            port.exclusive = True
            port.timeout, port.write_timeout = 0, self._write_s
            port.baudrate = link.rate
            port.bytesize, port.parity, port.stopbits = frame.data_bits, frame.parity, frame.stop_bits
            port.rtscts, port.xonxoff = link.flow == "rtscts", link.flow == "xonxoff"
            if link.dtr is not None:
                port.dtr = link.dtr
            if link.rts is not None:
                port.rts = link.rts
            port.open()
            if not _frame_taken(port, frame):
                raise FrameNotTaken(link.frame)
        except FrameNotTaken:
            _close_quietly(port)
            raise
        except FAILURES as error:
            _close_quietly(port)
            if system_number(error) == errno.EINVAL and frame.is_special:
                raise FrameNotTaken(link.frame) from error
            raise self._refused(error, link) from error
        return port, frame

    def _refused(self, error: Exception, link: Link) -> PortError:
        return refusal(self.name, link, error, attached)

    def _is_pseudo_terminal(self) -> bool:
        """True for the terminal side of a pty: on Linux and the BSDs, on macOS."""
        return re.fullmatch(r"/dev/(pts/\d+|ttys\d{3})", os.path.realpath(self.name)) is not None

    def _close_device(self) -> None:
        if self._stuck:
            # Else the system would wait for keys that nobody takes: half a minute on Linux.
            with contextlib.suppress(*FAILURES):
                self._port.reset_output_buffer()
        _close_quietly(self._port)

    # ---- what "gone" means --------------------------------------------------------------------------

    def _still_open(self) -> None:
        """A closed port's descriptor number may by now belong to another file."""
        if not self._port.is_open:
            raise PortLost(f"{self.name}: the port is closed")

    def _held(self) -> PortLost:
        self._stuck = True
        return PortLost(
            f"{self.name}: no key was taken for {self._write_s:g} s",
            "Flow control holds the line (CTS is off, or XOFF came), or the adapter hangs: "
            "see the cable and the profile's [link] flow",
        )

    def _gone(self, hung_up: bool) -> PortLost:
        if hung_up or not (sys.platform == "win32" or os.path.exists(self.name)):
            return PortLost(f"{self.name} is gone", "The adapter was unplugged or its other end went away")
        others = "; ".join(holders(self.name))
        return PortLost(
            f"{self.name} said that bytes had come, but gave none",
            "Either the adapter was unplugged, or another program reads the same port and took them"
            + (f" (it is open in {others})" if others else "")
            + ": see the cable, and end the other program",
        )

    def _lost(self, error: Exception) -> PortLost:
        if "returned no data" in str(error):
            return self._gone(False)
        return PortLost(
            f"{self.name} is gone: {_reason(error)}", "The adapter was unplugged or failed: see its cable"
        )


def attached() -> tuple[PortInfo, ...]:
    """The serial ports the system knows of, in order. Pseudo-terminals are not listed by any system."""
    from serial.tools import list_ports

    aliases = _aliases(_ALIASES)

    def text(value: object) -> str:
        return "" if value in (None, "n/a") else str(value)

    return in_order(
        PortInfo(
            device=port.device,
            description=text(port.description),
            vendor_id=port.vid,
            product_id=port.pid,
            serial_number=text(port.serial_number),
            alias=aliases.get(os.path.realpath(port.device), ""),
        )
        for port in list_ports.comports()
    )


def _aliases(folder: Path) -> dict[str, str]:
    """Real path of a device -> the name that stays, where the system keeps such names."""
    try:
        return {os.path.realpath(path): str(path) for path in sorted(folder.iterdir())}
    except OSError:
        return {}


def _frame_taken(port: Any, frame: Frame) -> bool:
    """False when the driver quietly kept other data bits or parity, as some do."""
    if sys.platform != "win32":
        flags = termios.tcgetattr(port.fileno())[2]
        size = termios.CS8 if frame.data_bits == 8 else termios.CS7
        return flags & termios.CSIZE == size and bool(flags & termios.PARENB) == (frame.parity != "N")
    return True


def _ask_low_latency(port: Any) -> None:
    """USB adapters hold short answers back for up to 16 ms; Linux can ask for less. Many devices cannot."""
    with contextlib.suppress(*FAILURES, AttributeError, NotImplementedError):
        port.set_low_latency_mode(True)


def _close_quietly(port: Any) -> None:
    with contextlib.suppress(*FAILURES, AttributeError):
        port.close()


def _is_timeout(error: Exception) -> bool:
    import serial

    return isinstance(error, serial.SerialTimeoutException)


def _reason(error: Exception) -> str:
    """The system's own words, without the library's around them."""
    text = getattr(error, "strerror", None) or str(error)
    return re.sub(r"^.*?\[Errno \d+\] ", "", text).rstrip(".")
