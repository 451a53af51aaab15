"""From a port's name to an open port; and the list of ports that are there.

    board:OPTIONS             the simulated board, in this process
    socket://HOST:PORT        bytes over TCP
    rfc2217://HOST:PORT       a serial port behind a server (RFC 2217)
    /dev/ttyUSB0, COM3        a serial device

A name is looked at before anything is opened: UsageError tells the forms. Real ports are locked against a
second linktool (port_lock). This file knows which port a name means, and nothing of how it works.
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import Literal

from linktool.errors import PortError, UsageError
from linktool.machine import Link, Machine
from linktool.port import Port
from linktool.port_info import PortInfo
from linktool.port_lock import PortLock
from linktool.rfc2217_port import Rfc2217Port
from linktool.serial_port import SerialPort, attached
from linktool.spelling import nearest
from linktool.tcp_port import TcpPort, host_and_port

Kind = Literal["board", "socket", "rfc2217", "device"]
SCHEMES = ("socket", "rfc2217")
EXAMPLE_DEVICE = "COM3" if sys.platform == "win32" else "/dev/ttyUSB0"
FORMS = f"Forms: {EXAMPLE_DEVICE} (serial), socket://HOST:PORT, rfc2217://HOST:PORT, board: (simulated)"

BOARD_EXAMPLE = PortInfo("board:", "the simulated board, always there")
"""Shown apart from the ports that are attached: an example of the other kinds of name."""


def list_ports() -> tuple[PortInfo, ...]:
    """The serial ports attached, those that only have a name last. BOARD_EXAMPLE is not among them."""
    return attached()


def port_kind(name: str) -> Kind:
    """Which kind of port `name` means. UsageError with the forms allowed when it means none."""
    if not name.strip():
        raise UsageError("the port name is empty", FORMS)
    if any(ord(character) < 0x20 or ord(character) == 0x7F for character in name):
        raise UsageError(f"the port name {name!r} has control characters in it", FORMS)
    if name.lower().startswith("board:"):
        return "board"
    scheme, separator, _ = name.partition("://")
    if separator:
        if scheme.lower() not in SCHEMES:
            near = nearest(scheme.lower(), SCHEMES)
            meant = f"Did you mean {near}://? " if near else ""
            raise UsageError(
                f"the port name {name!r} begins with {scheme}://, which is not known", meant + FORMS
            )
        host_and_port(name)
        return "socket" if scheme.lower() == "socket" else "rfc2217"
    if sys.platform == "win32":
        if not re.fullmatch(r"(\\\\\.\\)?[A-Za-z]\w*", name):
            raise UsageError(f"{name!r} is no port name", FORMS)
    elif "/" not in name:
        device = Path("/dev") / name
        meant = f"Did you mean {device}? " if os.path.exists(device) else ""
        raise UsageError(f"{name!r} is no port name", meant + FORMS)
    return "device"


def open_port(
    name: str,
    link: Link,
    *,
    lock_folder: Path | None = None,
    profiles: Path | None = None,
    played: Machine | None = None,
) -> Port:
    """The port `name`, open and set as `link` says; the caller closes it.

    UsageError for a name that is none; PortError when it cannot be opened, is in use or refuses a setting.
    lock_folder  where port locks are kept, if not in the user's own folder
    profiles     the user's machine profiles, for what a simulated board may be built after
    played       the machine a simulated board plays whose name does not say which, where that can be built
    """
    kind = port_kind(name)
    if kind == "board":
        return _board(name, played, profiles)
    lock = PortLock.take(name, folder=lock_folder)
    try:
        if kind == "socket":
            return TcpPort(name, seven_bits=link.frame.startswith("7"), lock=lock)
        if kind == "rfc2217":
            return Rfc2217Port(name, link, lock=lock)
        return SerialPort(name, link, lock=lock)
    except BaseException:
        lock.release()
        raise


def _board(name: str, played: Machine | None, profiles: Path | None) -> Port:
    from linktool.board import open_board

    board: Port
    try:
        board = open_board(name, played, profiles)
    except PortError:
        if played is None:
            raise
        board = open_board(name, None, profiles)
    return board
