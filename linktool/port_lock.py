"""Which linktool has a port: a lock file for each port, in a folder of the user's session.

The system's own lock on the open file decides, and the system lets go of it when a process ends, however it
ends: so a lock is never stale and a crash never refuses anyone. What stands in the file (process, command,
since when) only serves to say who it is. A device is meant by its real path, whatever alias was given.
Where the folder or the lock cannot be had, the port is used without: other programs do not look here anyway.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import socket
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from linktool.errors import PortError

_LOCKED_AT = 1 << 16
"""Where the locked byte stands on Windows: far behind the text, because a locked byte cannot be read."""
_TRIES, _TRY_S = 5, 0.01


class PortLock:
    """The right to one port. Made by `take`; ends with `release`, or with the process."""

    def __init__(self, descriptor: int | None) -> None:
        self._descriptor = descriptor

    @classmethod
    def take(cls, name: str, *, folder: Path | None = None, command: str | None = None) -> PortLock:
        """The lock of the port `name`. PortError naming the holder when another linktool has it.

        command  what to tell others; by default this process's command line
        """
        folder = folder or default_folder()
        descriptor = _opened(folder, name)
        if descriptor is None:
            return cls(None)
        try:
            if not _locked(descriptor):
                raise PortError(
                    f"{name} is in use by {_holder(descriptor)}", "End it, or wait until it has ended"
                )
            _write(descriptor, name, command if command is not None else _own_command())
        except BaseException:
            os.close(descriptor)
            raise
        return cls(descriptor)

    def release(self) -> None:
        """Give the port back. Safe to call twice; never raises."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is None:
            return
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, 0)
        with contextlib.suppress(OSError):
            if sys.platform == "win32":
                _unlock(descriptor)
        with contextlib.suppress(OSError):
            os.close(descriptor)


def default_folder() -> Path:
    """The runtime folder of the user's session where there is one, else the user's state folder."""
    import platformdirs

    if sys.platform == "linux" and not os.environ.get("XDG_RUNTIME_DIR"):
        return platformdirs.user_state_path("linktool") / "ports"
    return platformdirs.user_runtime_path("linktool") / "ports"


def key_of(name: str) -> str:
    """One text for all names of the same port: a device's real path, a URL in lower case."""
    if "://" in name:
        return name.lower().rstrip("/")
    if sys.platform == "win32":
        return re.sub(r"^\\\\\.\\", "", name).upper()
    return os.path.realpath(name)


def _opened(folder: Path, name: str) -> int | None:
    key = key_of(name)
    # A home that several computers share would mix up their devices.
    digest = hashlib.sha256(f"{socket.gethostname()} {key}".encode("utf-8", "surrogateescape")).hexdigest()[
        :12
    ]
    readable = re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-")[-40:]
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return os.open(folder / f"{readable}-{digest}.lock", flags, 0o600)
    except OSError:
        return None


if sys.platform == "win32":
    import msvcrt

    def _locked(descriptor: int) -> bool:
        os.lseek(descriptor, _LOCKED_AT, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(descriptor: int) -> None:
        os.lseek(descriptor, _LOCKED_AT, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _locked(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True  # a file system without locks: better no lock than a false refusal
        return True


def _write(descriptor: int, name: str, command: str) -> None:
    facts = {
        "pid": os.getpid(),
        "command": command,
        "since": datetime.now().astimezone().isoformat(timespec="seconds"),
        "port": name,
    }
    with contextlib.suppress(OSError):  # a full disk: the lock itself holds all the same
        os.ftruncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, json.dumps(facts).encode())


def _holder(descriptor: int) -> str:
    for turn in range(_TRIES):
        if turn:
            time.sleep(_TRY_S)  # the holder writes its name just after it has the lock
        facts = _facts(descriptor)
        if facts:
            pid = facts.get("pid")
            since = str(facts.get("since", "")).replace("T", " ")[:16]
            who = "this linktool itself" if pid == os.getpid() else f"another linktool, process {pid}"
            return f"{who} ({facts.get('command', '')}), since {since}"
    return "another linktool"


def _facts(descriptor: int) -> dict[str, Any]:
    try:
        os.lseek(descriptor, 0, os.SEEK_SET)
        facts = json.loads(os.read(descriptor, 8192))
    except (OSError, ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _own_command() -> str:
    words = [Path(sys.argv[0]).name or "linktool", *sys.argv[1:]] if sys.argv else ["linktool"]
    return " ".join(words)[:200]


def holders(device: str) -> tuple[str, ...]:
    """Other processes of this user that have `device` open, as "process 812, NAME". Linux only; else none."""
    real = os.path.realpath(device)
    found = []
    for folder in sorted(Path("/proc").glob("[0-9]*"), key=lambda path: int(path.name)):
        if int(folder.name) == os.getpid():
            continue
        with contextlib.suppress(OSError):
            if any(_target(link) == real for link in (folder / "fd").iterdir()):
                found.append(f"process {folder.name}, {(folder / 'comm').read_text().strip()}")
    return tuple(found)


def _target(link: Path) -> str:
    try:
        return os.readlink(link)
    except OSError:
        return ""
