"""The TCP port over loopback: what comes, what is lost, and how each is told."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from linktool.errors import PortError, PortLost, UsageError
from linktool.port_lock import PortLock
from linktool.tcp_port import TcpPort, host_and_port


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


def url_of(listener: socket.socket) -> str:
    return f"socket://127.0.0.1:{listener.getsockname()[1]}"


@pytest.fixture
def sides(listener: socket.socket) -> Iterator[tuple[TcpPort, socket.socket]]:
    port = TcpPort(url_of(listener))
    peer, _ = listener.accept()
    with peer:
        yield port, peer
    port.close()


def soon(port: TcpPort) -> float:
    return port.now() + 5.0


def test_keys_go_out_and_what_came_is_given_at_once(sides: tuple[TcpPort, socket.socket]) -> None:
    port, peer = sides
    port.write(b"0280-028F\r")
    assert peer.recv(100) == b"0280-028F\r"
    peer.sendall(bytes(range(256)))
    before = port.now()
    came = port.read(before + 5.0)
    while len(came) < 256:
        came += port.read(soon(port))
    assert came == bytes(range(256))
    assert port.now() - before < 1.0


def test_nothing_yet_is_empty_and_takes_the_time_given(sides: tuple[TcpPort, socket.socket]) -> None:
    port, _ = sides
    before = port.now()
    assert port.read(before - 1.0) == b""
    assert port.now() - before < 0.02
    assert port.read(before + 0.05) == b""
    assert port.now() >= before + 0.05


def test_small_packets_are_not_held_back(sides: tuple[TcpPort, socket.socket]) -> None:
    """Option of RFC 1122, 4.2.3.4: an application must be able to turn the Nagle algorithm off."""
    port, _ = sides
    with socket.socket(fileno=socket.dup(port.fileno())) as same:
        assert same.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_all_that_came_before_the_end_is_given_before_the_end_is_told(
    sides: tuple[TcpPort, socket.socket],
) -> None:
    port, peer = sides
    peer.sendall(b"0280: A9 00")
    peer.shutdown(socket.SHUT_WR)
    came = b""
    with pytest.raises(PortLost, match="the other side closed the connection"):
        while True:
            came += port.read(soon(port))
    assert came == b"0280: A9 00"


def test_a_broken_connection_is_lost_while_reading_and_while_writing(listener: socket.socket) -> None:
    for use in ("read", "write"):
        port = TcpPort(url_of(listener))
        peer, _ = listener.accept()
        # Lingering for no time makes close() send a reset, as a server that is killed does.
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        peer.close()
        with pytest.raises(PortLost, match=r"broke the connection|closed the connection"):
            for _ in range(100):
                if use == "read":
                    port.read(soon(port))
                else:
                    port.write(b"A")
                    time.sleep(0.001)
        port.close()


def test_a_peer_that_takes_nothing_is_lost_after_the_time_given(listener: socket.socket) -> None:
    port = TcpPort(url_of(listener), write_s=0.1)
    peer, _ = listener.accept()
    before = time.monotonic()
    with peer, pytest.raises(PortLost, match=r"took no key for 0\.1 s"):
        for _ in range(1000):
            port.write(bytes(65536))
    assert time.monotonic() - before < 20.0
    port.close()


def test_seven_bits_are_kept_both_ways_where_the_frame_has_seven(listener: socket.socket) -> None:
    """RFC 20: a 7-bit code stands in an octet whose top bit is 0."""
    port = TcpPort(url_of(listener), seven_bits=True)
    peer, _ = listener.accept()
    with peer:
        port.write(b"\xc1B")
        assert peer.recv(10) == b"AB"
        peer.sendall(b"\xb0\x8d")
        assert port.read(soon(port)) == b"0\r"
    port.close()


def test_closing_is_quick_safe_twice_and_does_not_lose_the_last_keys(listener: socket.socket) -> None:
    port = TcpPort(url_of(listener))
    peer, _ = listener.accept()
    with peer:
        peer.sendall(b"unread")
        time.sleep(0.01)
        port.write(b"0280G\r")
        before = time.monotonic()
        port.close()
        port.close()
        assert time.monotonic() - before < 5.0, "closing waits for nobody"
        assert peer.recv(100) == b"0280G\r"
        assert peer.recv(100) == b""
    with pytest.raises(PortLost, match="the port is closed"):
        port.read(time.monotonic())
    with pytest.raises(PortLost, match="the port is closed"):
        port.write(b"A")


def test_closing_gives_the_lock_back(listener: socket.socket, tmp_path: Path) -> None:
    name = url_of(listener)
    TcpPort(name, lock=PortLock.take(name, folder=tmp_path)).close()
    PortLock.take(name, folder=tmp_path).release()


def test_an_address_of_the_newer_kind_works_in_brackets() -> None:
    """RFC 3986, 3.2.2."""
    try:
        listener = socket.create_server(("::1", 0), family=socket.AF_INET6)
    except OSError:
        pytest.skip("this system has no IPv6 loopback")
    with listener:
        port = TcpPort(f"socket://[::1]:{listener.getsockname()[1]}")
        peer, _ = listener.accept()
        with peer:
            port.write(b"A")
            assert peer.recv(10) == b"A"
        port.close()


def test_where_nothing_listens_the_error_says_so() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        name = url_of(free)
    with pytest.raises(PortError, match=r"nothing listens at port \d+ of 127\.0\.0\.1\. Start the server"):
        TcpPort(name)


def test_an_unknown_host_is_named() -> None:
    # RFC 2606: names under .invalid never exist.
    with pytest.raises(PortError, match=r"no address is known for the host 'bench\.invalid'"):
        TcpPort("socket://bench.invalid:4000")


def test_a_host_that_does_not_answer_is_given_up(listener: socket.socket) -> None:
    """A full queue of connections: the system neither takes nor refuses another one."""
    with socket.socket() as full:
        full.bind(("127.0.0.1", 0))
        full.listen(0)
        address = full.getsockname()
        held = []
        for _ in range(4):
            waiting = socket.socket()
            waiting.setblocking(False)
            waiting.connect_ex(address)
            held.append(waiting)
        before = time.monotonic()
        with pytest.raises(PortError, match=r"no answer from 127\.0\.0\.1 within 0\.1 s"):
            TcpPort(f"socket://127.0.0.1:{address[1]}", connect_s=0.1)
        assert time.monotonic() - before < 20.0
        for waiting in held:
            waiting.close()


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("socket://127.0.0.1:4000", ("127.0.0.1", 4000)),
        ("socket://bench:23", ("bench", 23)),
        ("rfc2217://[::1]:4000", ("::1", 4000)),
        ("socket://bench:4000/", ("bench", 4000)),
    ],
)
def test_host_and_port_are_read(url: str, expected: tuple[str, int]) -> None:
    """Brackets around an IPv6 address: RFC 3986, 3.2.2."""
    assert host_and_port(url) == expected


@pytest.mark.parametrize(
    ("url", "found"),
    [
        ("socket://bench", "has no port number"),
        ("socket://:4000", "has no host"),
        ("socket://bench:0", "has no port number"),
        ("socket://bench:70000", "cannot be read"),
        ("socket://bench:abc", "cannot be read"),
        ("socket://[::1", "cannot be read"),
        ("socket://bench:4000/tty", "more than a host"),
        ("socket://bench:4000?rate=9600", "more than a host"),
        ("socket://me@bench:4000", "more than a host"),
    ],
)
def test_a_wrong_url_says_what_is_wrong_and_shows_a_right_one(url: str, found: str) -> None:
    with pytest.raises(UsageError, match=f"{found}.*socket://HOST:PORT"):
        host_and_port(url)
