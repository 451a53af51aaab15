"""The user's keyboard, key by key: a terminal on POSIX, a console on Windows, or a pipe.

`read` gives what was struck, "" when nothing was in time, and None when no more will come. At a terminal
keys are given at once and unechoed; Ctrl-C stays the signal it is. Cursor and function keys, which send
several characters, are left out: no machine here knows them. Nothing is lost between two readers of one
pipe: there is one buffer for it, which `read_line` uses too.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import queue
import re
import sys
import threading
import time
from collections.abc import Iterator
from typing import Protocol, TextIO

from linktool.readiness import ready

CHUNK = 4096
SEQUENCE_S = 0.03
"""How long the rest of a function key's characters is waited for after ESC."""

_UNFINISHED = re.compile("\x1b[\\[O0-9;?]*$")
_SEQUENCE = re.compile("\x1b(?:[\\[O][0-9;?<]*[ -/]*[@-~]|[\\[O]$)")


class Keyboard(Protocol):
    """Where keys come from. `live`: a person strikes them now, one by one."""

    live: bool

    def read(self, seconds: float) -> str | None: ...

    def unread(self, text: str) -> None:
        """Give back what was read too much: the next one to read gets it."""
        ...


def without_sequences(text: str) -> str:
    """Keys without those of cursor and function keys, which come as ESC and more."""
    return _SEQUENCE.sub("", text)


class Pipe:
    """Text that comes in over a pipe or from a file. Reading waits in a thread of its own, which is left
    alone at the end, so that nothing ever blocks."""

    live = False

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._held = ""
        self._came: queue.Queue[str | None] = queue.Queue()
        self._asked = False
        self._ended = False

    def read(self, seconds: float) -> str | None:
        if self._held:
            held, self._held = self._held, ""
            return held
        return self._next(seconds)

    def unread(self, text: str) -> None:
        self._held = text + self._held

    def read_line(self) -> str | None:
        """The next line without its end; waits for it. None when there is none."""
        while "\n" not in self._held:
            more = self._next(None)
            if more is None:
                last, self._held = self._held, ""
                return last.removesuffix("\r") or None
            self._held += more
        line, _, self._held = self._held.partition("\n")
        return line.removesuffix("\r")

    def _next(self, seconds: float | None) -> str | None:
        if self._ended:
            return None
        if not self._asked:
            self._asked = True
            threading.Thread(target=self._fetch, daemon=True).start()
        try:
            text = self._came.get(timeout=seconds) if seconds != 0 else self._came.get_nowait()
        except queue.Empty:
            return ""
        self._asked = False
        self._ended = text is None
        return text

    def _fetch(self) -> None:
        """One piece. The descriptor is read past Python's own buffer, whose lock a thread that waits
        would hold at the end of the program."""
        try:
            data = os.read(self._stream.fileno(), CHUNK)
        except (OSError, ValueError, AttributeError):
            self._came.put(self._in_memory())
            return
        text = self._decoded(data)
        self._came.put(text if data else text or None)

    def _in_memory(self) -> str | None:
        """From a stream that has no descriptor; None where it cannot be read either."""
        try:
            return self._stream.read(CHUNK) or None
        except (OSError, ValueError):
            return None

    def _decoded(self, data: bytes) -> str:
        if not hasattr(self, "_decoder"):
            self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        return self._decoder.decode(data, final=not data)


_pipes: dict[int, Pipe] = {}


def pipe(stream: TextIO) -> Pipe:
    """The one reader of `stream`."""
    known = _pipes.get(id(stream))
    if known is None or known._stream is not stream:
        known = _pipes[id(stream)] = Pipe(stream)
    return known


@contextlib.contextmanager
def keyboard(stream: TextIO) -> Iterator[Keyboard]:
    """The keyboard behind `stream`, for as long as this lasts; a terminal's settings are put back."""
    if not stream.isatty():
        yield pipe(stream)
    elif sys.platform == "win32":
        yield Console()
    else:
        with _unechoed(stream.fileno()):
            yield Terminal(stream.fileno())


class Terminal:
    """A POSIX terminal whose settings `_unechoed` has changed."""

    live = True

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._decoder = codecs.getincrementaldecoder("utf-8")("ignore")

    def read(self, seconds: float) -> str | None:
        if not ready(self._descriptor, seconds):
            return ""
        text = self._one()
        while text and _UNFINISHED.search(text) and ready(self._descriptor, SEQUENCE_S):
            more = self._one()
            if more is None:
                break
            text += more
        return None if text is None else without_sequences(text)

    def unread(self, text: str) -> None:
        """Nobody reads on at a terminal: what was struck ahead is left out."""

    def _one(self) -> str | None:
        try:
            data = os.read(self._descriptor, CHUNK)
        except OSError:  # hung up
            return None
        return self._decoder.decode(data) if data else None


@contextlib.contextmanager
def _unechoed(descriptor: int) -> Iterator[None]:
    """Every key at once and unechoed; RETURN stays CR; of the signals only Ctrl-C's is kept."""
    if sys.platform == "win32":
        yield
        return
    import termios

    before = termios.tcgetattr(descriptor)
    changed = termios.tcgetattr(descriptor)
    changed[0] &= ~(termios.ICRNL | termios.INLCR | termios.IGNCR | termios.IXON)
    changed[3] &= ~(termios.ICANON | termios.ECHO | termios.IEXTEN)
    cells = list(changed[6])
    cells[termios.VMIN], cells[termios.VTIME] = b"\x01", b"\x00"
    off = os.fpathconf(descriptor, "PC_VDISABLE")
    for name in ("VSUSP", "VQUIT", "VDSUSP"):
        if hasattr(termios, name):
            cells[getattr(termios, name)] = bytes([off & 0xFF])
    changed[6] = cells
    termios.tcsetattr(descriptor, termios.TCSADRAIN, changed)
    try:
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


class Console:
    """The Windows console."""

    live = True

    def read(self, seconds: float) -> str | None:
        if sys.platform != "win32":
            return None
        import msvcrt

        end = time.monotonic() + seconds
        found = ""
        while not found:
            while msvcrt.kbhit():
                key = msvcrt.getwch()
                if key in "\x00\xe0":  # a function key: its second half follows
                    msvcrt.getwch()
                elif key == "\x03":
                    raise KeyboardInterrupt
                else:
                    found += key
            if found or time.monotonic() >= end:
                break
            time.sleep(0.01)
        return found

    def unread(self, text: str) -> None:
        """As at a POSIX terminal."""
