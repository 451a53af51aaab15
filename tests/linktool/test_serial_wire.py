"""The two ways to read and write, on ports that only this test knows."""

from __future__ import annotations

import errno
import os
import time
import tty

import pytest

from linktool.serial_wire import DescriptorWire, Gone, Held, LibraryWire


class Library:
    """What pyserial's object would do, from a list: bytes that come, or an error that is raised."""

    def __init__(self, *coming: bytes | Exception) -> None:
        self.coming = list(coming)
        self.asked: list[int] = []

    @property
    def in_waiting(self) -> int:
        if self.coming and isinstance(self.coming[0], Exception):
            raise self.coming[0]
        return len(self.coming[0]) if self.coming and isinstance(self.coming[0], bytes) else 0

    def read(self, size: int) -> bytes:
        self.asked.append(size)
        if not self.coming:
            return b""
        first = self.coming.pop(0)
        if isinstance(first, Exception):
            raise first
        if first[size:]:
            self.coming.insert(0, first[size:])
        return first[:size]


def test_the_library_is_never_asked_for_more_than_waits() -> None:
    library = Library(b"0280: A9 00")
    assert LibraryWire(library).read(0.0) == b"0280: A9 00"
    assert library.asked == [11]


def test_a_port_that_fails_behind_its_first_byte_gives_that_byte_first() -> None:
    library = Library(b"A", OSError(errno.EIO, "gone"))
    wire = LibraryWire(library)
    assert wire.read(0.0) == b"A"
    with pytest.raises(OSError, match="gone"):
        wire.read(0.0)


def test_large_amounts_come_in_parts() -> None:
    library = Library(bytes(10_000))
    wire = LibraryWire(library)
    parts = [wire.read(0.0) for _ in range(3)]
    assert [len(part) for part in parts] == [4096, 4096, 1808]


class Numbered:
    def __init__(self, number: int) -> None:
        self.number = number

    def fileno(self) -> int:
        return self.number


def test_a_hung_up_device_is_told_from_one_that_gave_nothing() -> None:
    """poll() marks a hang-up (POSIX.1-2017, poll: POLLHUP)."""
    far, near = os.openpty()
    tty.setraw(near)
    os.set_blocking(near, False)
    os.close(far)
    with pytest.raises(Gone) as gone:
        DescriptorWire(Numbered(near)).read(time.monotonic())
    assert gone.value.hung_up
    os.close(near)
    with open(os.devnull, "rb") as empty, pytest.raises(Gone) as gone:
        DescriptorWire(Numbered(empty.fileno())).read(time.monotonic())
    assert not gone.value.hung_up


def test_a_write_goes_on_as_soon_as_there_is_room() -> None:
    reader, writer = os.pipe()
    os.set_blocking(writer, False)
    os.set_blocking(reader, False)
    wire = DescriptorWire(Numbered(writer))
    total = 0
    with pytest.raises(Held):
        wire.write(bytes(1 << 20), time.monotonic() + 0.05)
    while True:
        try:
            total += len(os.read(reader, 1 << 16))
        except BlockingIOError:
            break
    assert 0 < total < 1 << 20
    wire.write(b"0280G\r", time.monotonic() + 1.0)
    assert os.read(reader, 100) == b"0280G\r"
    os.close(reader)
    os.close(writer)
