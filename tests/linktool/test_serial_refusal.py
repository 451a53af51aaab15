"""Each way an opening fails -> one sentence that says what and what to do."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from linktool.errors import PortError
from linktool.machine import Link
from linktool.port_info import PortInfo
from linktool.serial_refusal import FrameNotTaken, refusal

if sys.platform != "win32":
    import grp
    import termios


def said(
    error: Exception, name: str = "/dev/ttyUSB0", link: Link | None = None, *, there: bool = True
) -> str:
    def attached() -> Iterable[PortInfo]:
        return [PortInfo("/dev/ttyUSB7", "adapter")] if there else []

    refused = refusal(name, link or Link(), error, attached)
    assert type(refused) is PortError and refused.exit_status == 3
    return str(refused)


def behind(inner: Exception) -> Exception:
    """The library's own error while it handled `inner`, without a number (pyserial 3.5, serialposix)."""
    try:
        try:
            raise inner
        except Exception as error:
            raise OSError(f"Could not configure port: {error}")  # noqa: B904
    except OSError as outer:
        return outer


@pytest.mark.parametrize("number", [errno.ENOENT, errno.ENXIO, errno.ENODEV])
def test_missing(number: int) -> None:
    error = OSError(number, "could not open port")
    assert said(error) == "/dev/ttyUSB0: there is no such port. Ports that are here: /dev/ttyUSB7 (adapter)"
    assert said(error, there=False).endswith("No serial port is here: is the adapter plugged in?")


@pytest.mark.parametrize("number", [errno.EBUSY, errno.EAGAIN])
def test_busy(number: int) -> None:
    text = said(OSError(number, "Could not exclusively lock port"))
    assert text == "/dev/ttyUSB0 is in use by another program. End it, or wait until it has ended"


@pytest.mark.skipif(sys.platform == "win32", reason="groups are POSIX's")
def test_not_allowed_names_the_group_and_the_usual_way(tmp_path: Path) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch()
    group = grp.getgrgid(device.stat().st_gid).gr_name
    text = said(OSError(errno.EACCES, "Permission denied"), str(device))
    assert f"{device}: you are not allowed to open it" in text
    assert f"sudo usermod -aG {group} YOUR-NAME" in text
    assert "Ask for the right" in said(OSError(errno.EACCES, "Permission denied"), str(tmp_path / "none"))


@pytest.mark.skipif(sys.platform == "win32", reason="termios is POSIX's")
def test_what_is_no_terminal() -> None:
    error = behind(termios.error(errno.ENOTTY, "Inappropriate ioctl for device"))
    assert said(error, "/dev/null").startswith("/dev/null is not a serial port. Ports that are here")
    assert said(OSError(errno.EISDIR, "Is a directory"), "/tmp").startswith("/tmp is not a serial port")


@pytest.mark.skipif(sys.platform == "win32", reason="termios is POSIX's")
def test_a_name_without_hardware() -> None:
    error = behind(termios.error(errno.EIO, os.strerror(errno.EIO)))
    assert "a name for this port but no hardware" in said(error, "/dev/ttyS9")


def test_a_frame_that_the_adapter_does_not_take() -> None:
    text = said(FrameNotTaken(), link=Link(frame="8E1"))
    assert "does not take the frame 8E1" in text and '"8N1"' in text


@pytest.mark.parametrize(
    "error", [ValueError("Invalid baud rate: 12345"), OSError(errno.EINVAL, "Invalid argument")]
)
def test_a_rate_that_the_adapter_does_not_take(error: Exception) -> None:
    assert "does not take the rate 12345" in said(error, link=Link(rate=12345))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "could not open port 'COM3': FileNotFoundError(2, 'The system cannot find it', None, 2)",
            "no such port",
        ),
        (
            "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)",
            "in use by another program",
        ),
        (
            "could not open port 'COM3': OSError(22, 'The parameter is incorrect.', None, 87)",
            "does not take the rate",
        ),
    ],
)
def test_the_words_of_windows(text: str, expected: str) -> None:
    """pyserial 3.5 puts the Windows error's text into one of its own that has no number."""
    assert expected in said(OSError(text), "COM3")


def test_anything_else_is_told_as_it_is() -> None:
    text = said(OSError(errno.EMFILE, "could not open port: [Errno 24] Too many open files"))
    assert text == "/dev/ttyUSB0: cannot be opened: Too many open files"
