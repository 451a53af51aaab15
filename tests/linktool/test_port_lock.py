"""Two linktools on one port: the second is told who has it, and no crash ever leaves a lock behind."""

from __future__ import annotations

import hashlib
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from linktool.errors import PortError
from linktool.port_lock import PortLock, holders, key_of

HOLD = """
import sys, time
from pathlib import Path
from linktool.port_lock import PortLock
lock = PortLock.take(sys.argv[1], folder=Path(sys.argv[2]), command="linktool enter demo.hex")
print("held", flush=True)
time.sleep(60)
"""


def held_by_another(name: str, folder: Path) -> subprocess.Popen[bytes]:
    other = subprocess.Popen([sys.executable, "-c", HOLD, name, str(folder)], stdout=subprocess.PIPE)
    assert other.stdout is not None and other.stdout.readline() == b"held\n"
    return other


def test_the_second_is_told_who_has_the_port_and_a_killed_one_leaves_nothing(tmp_path: Path) -> None:
    with held_by_another("/dev/ttyUSB0", tmp_path) as other:
        try:
            with pytest.raises(PortError) as refused:
                PortLock.take("/dev/ttyUSB0", folder=tmp_path)
            PortLock.take("/dev/ttyUSB1", folder=tmp_path).release()
        finally:
            other.send_signal(signal.SIGKILL)
    text = str(refused.value)
    assert (
        f"/dev/ttyUSB0 is in use by another linktool, process {other.pid} (linktool enter demo.hex)" in text
    )
    assert re.search(r", since 20\d\d-\d\d-\d\d \d\d:\d\d\. ", text) and refused.value.exit_status == 3
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()


def test_release_gives_it_back_and_may_be_called_twice(tmp_path: Path) -> None:
    lock = PortLock.take("/dev/ttyUSB0", folder=tmp_path)
    with pytest.raises(PortError, match="this linktool itself"):
        PortLock.take("/dev/ttyUSB0", folder=tmp_path)
    lock.release()
    lock.release()
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()


def test_an_alias_is_the_same_device(tmp_path: Path) -> None:
    device, alias = tmp_path / "ttyUSB0", tmp_path / "by-id"
    device.touch()
    alias.symlink_to(device)
    lock = PortLock.take(str(device), folder=tmp_path / "locks")
    with pytest.raises(PortError, match="by-id is in use"):
        PortLock.take(str(alias), folder=tmp_path / "locks")
    lock.release()


def test_urls_are_locked_by_their_text_in_any_case(tmp_path: Path) -> None:
    lock = PortLock.take("socket://Bench:4000", folder=tmp_path)
    with pytest.raises(PortError):
        PortLock.take("SOCKET://bench:4000/", folder=tmp_path)
    PortLock.take("socket://bench:4001", folder=tmp_path).release()
    lock.release()


@pytest.mark.parametrize("left", [b"", b"\xff\xfe garbage", b"[1, 2]", b'{"pid": 1, "command": "old"}'])
def test_what_a_crash_left_in_the_file_does_not_matter(tmp_path: Path, left: bytes) -> None:
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()
    (file,) = tmp_path.iterdir()
    file.write_bytes(left)
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()


def test_a_holder_whose_facts_cannot_be_read_is_still_a_holder(tmp_path: Path) -> None:
    lock = PortLock.take("/dev/ttyUSB0", folder=tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_bytes(b"\x00")
    with pytest.raises(PortError, match=r"in use by another linktool\. End it"):
        PortLock.take("/dev/ttyUSB0", folder=tmp_path)
    lock.release()


def test_a_folder_that_cannot_be_had_refuses_nobody(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    lock = PortLock.take("/dev/ttyUSB0", folder=tmp_path / "file" / "ports")
    lock.release()


def test_a_link_in_the_place_of_the_lock_is_not_followed(tmp_path: Path) -> None:
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()
    (file,) = tmp_path.iterdir()
    precious = tmp_path / "precious"
    precious.write_text("keep me")
    file.unlink()
    file.symlink_to(precious)
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()
    assert precious.read_text() == "keep me"


def test_a_child_process_does_not_keep_the_lock(tmp_path: Path) -> None:
    lock = PortLock.take("/dev/ttyUSB0", folder=tmp_path)
    with subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"]) as child:
        lock.release()
        try:
            PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()
        finally:
            child.kill()


@pytest.mark.skipif(sys.platform != "linux", reason="these variables are Linux's")
@pytest.mark.parametrize("variable", ["XDG_RUNTIME_DIR", "XDG_STATE_HOME"])
def test_the_folder_is_the_users_own(tmp_path: Path, variable: str) -> None:
    """XDG Base Directory Specification 0.8: a folder for runtime files, and one for what is kept."""
    program = "from linktool.port_lock import default_folder; print(default_folder())"
    environment = {variable: str(tmp_path), "HOME": "/nowhere"}
    command = [sys.executable, "-W", "error", "-c", program]
    result = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert result.stdout == f"{tmp_path}/linktool/ports\n"


def test_the_file_is_for_the_user_alone(tmp_path: Path) -> None:
    lock = PortLock.take("/dev/ttyUSB0", folder=tmp_path / "new")
    (file,) = (tmp_path / "new").iterdir()
    assert file.stat().st_mode & 0o077 == 0 and (tmp_path / "new").stat().st_mode & 0o077 == 0
    assert file.name.startswith("dev-ttyUSB0-")
    lock.release()


def test_names_of_one_port_have_one_key(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    assert key_of(str(tmp_path / "a")) == key_of(str(tmp_path / "b"))
    assert key_of("socket://Bench:4000") == "socket://bench:4000"


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the system has no /proc")
def test_other_holders_of_a_device_are_named(tmp_path: Path) -> None:
    device = tmp_path / "device"
    device.touch()
    program = "import sys, time; f = open(sys.argv[1]); print('open', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", program, str(device)], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None and other.stdout.readline() == b"open\n"
        found = holders(str(device))
        other.kill()
    assert [text.split(",")[0] for text in found] == [f"process {other.pid}"]
    with device.open():
        assert holders(str(device)) == ()  # oneself is no other


def test_computers_that_share_a_home_do_not_share_locks(tmp_path: Path) -> None:
    PortLock.take("/dev/ttyUSB0", folder=tmp_path).release()
    (file,) = tmp_path.iterdir()
    expected = hashlib.sha256(f"{socket.gethostname()} {os.path.realpath('/dev/ttyUSB0')}".encode())
    assert expected.hexdigest()[:12] in file.name
