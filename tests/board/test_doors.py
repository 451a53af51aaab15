"""Pseudo-terminals and TCP ports: who may come in, who is turned away, and what is said."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import sys

import pytest

from linktool.board import doors
from linktool.errors import PortError, UsageError


def received(door: doors.Door) -> bytes:
    """What a door has got once it becomes readable."""
    for _ in range(20):
        if select.select(door.waiting(), [], [], 2)[0]:
            data = door.receive()
            if data:
                return data
    raise AssertionError("nothing was received")


def client_of(door: doors.Door) -> socket.socket:
    host, port = door.name.removeprefix("socket://").rsplit(":", 1)
    return socket.create_connection((host.strip("[]"), int(port)), timeout=5)


@pytest.mark.parametrize(
    "where",
    [
        "",
        "pty:1",
        "tcp",
        "tcp:",
        "tcp:127.0.0.1",
        "tcp::80",
        "tcp:127.0.0.1:x",
        "tcp:127.0.0.1:70000",
        "udp:1:2",
    ],
)
def test_places_that_are_none(where):
    with pytest.raises(UsageError, match=r"is no place to serve a board\. Forms: pty, or tcp:HOST:PORT"):
        doors.open_door(where)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1"])
def test_other_computers_are_refused_unless_allowed(host):
    with pytest.raises(UsageError, match="every computer that can reach this one can type on the board"):
        doors.open_door(f"tcp:{host}:0")


def test_all_interfaces_may_be_allowed_and_the_name_tells():
    with contextlib.closing(closing(doors.open_door("tcp:0.0.0.0:0", allow_remote=True))) as held:
        assert doors.reachable_from_outside(held.door.name)
    assert not doors.reachable_from_outside("socket://127.0.0.1:4000")
    assert not doors.reachable_from_outside("socket://[::1]:4000")
    assert not doors.reachable_from_outside("/dev/pts/3")


class closing:
    """A door that `contextlib.closing` can close."""

    def __init__(self, door: doors.Door) -> None:
        self.door = door

    def close(self) -> None:
        self.door.hang_up()


def test_a_port_in_use_and_a_host_that_is_none():
    with contextlib.closing(closing(doors.open_door("tcp:127.0.0.1:0"))) as held:
        port = held.door.name.rsplit(":", 1)[1]
        with pytest.raises(PortError, match=f"cannot listen on 127.0.0.1 port {port}"):
            doors.open_door(f"tcp:127.0.0.1:{port}")
    with pytest.raises(PortError, match="is no host this computer knows"):
        doors.open_door("tcp:no.such.host.invalid:0")


def test_a_tcp_client_comes_goes_and_comes_again():
    with contextlib.closing(closing(doors.open_door("tcp:127.0.0.1:0"))) as held:
        door = held.door
        door.send(b"nobody there")
        for word in (b"one", b"two"):
            with client_of(door) as client:
                client.sendall(word)
                assert received(door) == word
                door.send(b"<" + word)
                assert client.recv(100) == b"<" + word
            while len(door.waiting()) > 1:
                select.select(door.waiting(), [], [], 2)
                door.receive()


def test_a_second_client_is_turned_away():
    with contextlib.closing(closing(doors.open_door("tcp:127.0.0.1:0"))) as held:
        door = held.door
        with client_of(door) as first:
            first.sendall(b"first")
            assert received(door) == b"first"
            with client_of(door) as second:
                select.select(door.waiting(), [], [], 2)
                door.receive()
                assert second.recv(10) == b""
            door.send(b"still yours")
            assert first.recv(20) == b"still yours"


def test_a_client_that_takes_nothing_holds_up_nobody():
    with contextlib.closing(closing(doors.open_door("tcp:127.0.0.1:0"))) as held:
        door = held.door
        with client_of(door) as client:
            client.sendall(b"x")
            received(door)
            for _ in range(2000):
                door.send(b"y" * 4096)


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_a_pseudo_terminal_is_raw_both_ways_and_outlives_its_clients():
    with contextlib.closing(closing(doors.open_door("pty"))) as held:
        door = held.door
        door.send(b"early\r\n\x03")
        for every in (bytes(range(256)), b"again"):
            client = os.open(door.name, os.O_RDWR | os.O_NOCTTY)
            try:
                os.write(client, every)
                got = b""
                while len(got) < len(every):
                    got += received(door)
                assert got == every
                door.send(b"\x04back\r")
                read = b""
                while not read.endswith(b"\x04back\r"):
                    read += os.read(client, 100)
                assert read.removeprefix(b"early\r\n\x03") == b"\x04back\r"
            finally:
                os.close(client)
        for _ in range(100):
            door.send(b"y" * 4096)
        held.door.hang_up()
        assert door.waiting() == ()
        assert door.receive() == b""
        door.send(b"gone")
