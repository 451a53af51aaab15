"""The board through pyserial, by its URL handler."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import serial

from linktool.urlhandlers import protocol_board


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    serial.protocol_handler_packages.append("linktool.urlhandlers")
    yield
    serial.protocol_handler_packages.remove("linktool.urlhandlers")


def opened(url: str = "board://", **settings: object) -> protocol_board.Serial:
    port = serial.serial_for_url(url, **{"timeout": 1, **settings})
    assert isinstance(port, protocol_board.Serial)
    return port


def test_a_session():
    with opened("board://machine=dot") as port:
        assert port.read(10) == b"\\\r"
        assert port.in_waiting == 0
        for key in b"280\r":
            assert port.write(bytes([key])) == 1
            assert port.read(1) == bytes([key])
        answer = port.read_until(b"\r")
        assert answer.startswith(b"0280: ") and len(answer) == 9
        assert port.board.statistics().keys_taken == 4
    assert not port.is_open


def test_timeouts_pass_on_the_boards_clock():
    port = opened(timeout=3600)
    port.read(2)
    start = port.board.now()
    assert port.read(1) == b""
    assert port.board.now() == pytest.approx(start + 3600)
    port.timeout = 0
    port.write(b"A")
    assert port.read(1) == b""
    port.timeout = None
    assert port.read(1) == b"A"
    port.close()


def test_buffers_and_lines():
    port = opened()
    port.board.read(0.0)
    port.read(2)
    port.write(b"A")
    port.timeout = 0.5
    port.flush()
    assert port.cts and port.dsr and port.cd and not port.ri
    port.dtr = False
    port.rts = False
    port.send_break(0)
    port.reset_output_buffer()
    port.read(0)
    assert port.read(1) == b"A"
    port.reset_input_buffer()
    assert port.in_waiting == 0
    port.close()
    assert not port.cts


def test_what_goes_wrong_is_a_serial_exception():
    with pytest.raises(serial.SerialException, match="no option is called 'machin'"):
        opened("board://machin=dot")
    port = opened("board://fault=cut-at:0.5s")
    assert port.read(10) == b"\r="
    with pytest.raises(serial.SerialException, match="the link is cut"):
        port.read(1)
    with pytest.raises(serial.SerialException, match=r"write failed: .*the link is cut"):
        port.write(b"A")
    with pytest.raises(serial.SerialException, match="already open"):
        port.open()
    port.close()
    port.close()
    with pytest.raises(serial.SerialException):
        port.read(1)
    port.open()
    assert port.read(2) == b"\r="
    port.close()
    with pytest.raises(serial.SerialException, match="must be configured"):
        protocol_board.Serial().open()
