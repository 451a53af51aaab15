"""Why a serial port could not be opened: the library's and the system's words -> one PortError.

One place for all of them: missing, busy, no permission, not a serial port, rate or frame not taken.
Each message says what to do. Nothing here opens a port.
"""

from __future__ import annotations

import errno
import os
import re
import sys
from collections.abc import Callable, Iterable

from linktool.errors import PortError
from linktool.machine import Link
from linktool.port_info import PortInfo, shown
from linktool.port_lock import holders

MISSING = (errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ENOTDIR)
BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
DENIED = (errno.EACCES, errno.EPERM)


class FrameNotTaken(Exception):
    """The driver opened the port but kept another frame."""


def refusal(name: str, link: Link, error: Exception, attached: Callable[[], Iterable[PortInfo]]) -> PortError:
    """The PortError that says why `name` did not open. `attached` lists the ports that are there."""
    number = system_number(error)
    if number in MISSING:
        return PortError(f"{name}: there is no such port", _there(attached))
    if number in BUSY:
        return PortError(f"{name} is in use by {_who(name)}", "End it, or wait until it has ended")
    if number in DENIED:
        return PortError(f"{name}: you are not allowed to open it", _permission_hint(name))
    if isinstance(error, FrameNotTaken):
        return PortError(
            f"{name}: this adapter does not take the frame {link.frame} (at the rate {link.rate})",
            'Set [link] frame to "8N1" in the profile if the machine allows it, or use another adapter',
        )
    if isinstance(error, (ValueError, OverflowError)) or number == errno.EINVAL or _about_rate(error):
        return PortError(
            f"{name}: this adapter does not take the rate {link.rate}",
            "Set [link] rate to one it knows, as 9600",
        )
    if number in (errno.ENOTTY, errno.EISDIR):
        return PortError(f"{name} is not a serial port", _there(attached))
    if number == errno.EIO:
        return PortError(f"{name}: there is a name for this port but no hardware behind it", _there(attached))
    return PortError(f"{name}: cannot be opened: {_plain(error)}")


def system_number(error: Exception) -> int | None:
    """The system's error number: the library gives it in four different places."""
    number = getattr(error, "errno", None)
    if number is None:
        for inner in (error, error.__context__, error.__cause__):
            if inner is not None and inner.args and isinstance(inner.args[0], int):
                number = inner.args[0]
                break
    if number is None:
        # Windows: the text of the inner exception, as "FileNotFoundError(2, ...)".
        found = re.search(r"(FileNotFoundError|PermissionError|OSError)\((\d+)", str(error))
        if found:
            # There a port that another program has open is one that access is denied to.
            number = errno.EBUSY if found[1] == "PermissionError" else int(found[2])
    return number if isinstance(number, int) else None


def _about_rate(error: Exception) -> bool:
    """macOS refuses a rate by an ioctl of its own; what is no terminal fails earlier, in termios."""
    inner = error.__context__
    return (
        sys.platform == "darwin" and type(error) is OSError and error.errno == errno.ENOTTY and inner is None
    )


def _there(attached: Callable[[], Iterable[PortInfo]]) -> str:
    ports = shown(attached())
    if ports:
        return f"Ports that are here: {ports}"
    return "No serial port is here: is the adapter plugged in?"


def _who(name: str) -> str:
    who = ", ".join(holders(name))
    return f"another program ({who})" if who else "another program"


def _permission_hint(name: str) -> str:
    if sys.platform == "win32":
        return "Another program may have it open, or your account lacks the right"
    import grp

    try:
        group = grp.getgrgid(os.stat(name).st_gid).gr_name
    except (OSError, KeyError):
        return "Ask for the right to use it"
    return (
        f"It belongs to the group {group!r}: someone with the right to do so adds you to it "
        f"(on Linux: sudo usermod -aG {group} YOUR-NAME), then log out and in again"
    )


def _plain(error: Exception) -> str:
    text = getattr(error, "strerror", None) or str(error)
    return re.sub(r"^.*\[Errno \d+\] ", "", text).rstrip(".")
