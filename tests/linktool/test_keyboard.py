"""The keyboard: a pseudo-terminal whose settings come back, pipes that are shared, keys that are left out."""

from __future__ import annotations

import io
import os
import sys

import pytest

from linktool.keyboard import keyboard, pipe, without_sequences


def test_cursor_and_function_keys_are_left_out():
    # ECMA-48: CSI is ESC [, parameters 30-3F, intermediates 20-2F, a final byte 40-7E; SS3 is ESC O.
    assert without_sequences("a\x1b[Ab\x1b[15~c\x1b[1;5Dd\x1bOPe") == "abcde"
    assert without_sequences("\x1b") == "\x1b"
    assert without_sequences("\x1bA") == "\x1bA"


def test_lines_and_keys_of_one_pipe_are_shared_without_loss():
    read, write = os.pipe()
    os.write(write, "talk\n0280:é\nquit\r\nlast".encode())
    os.close(write)
    with os.fdopen(read) as stream:
        source = pipe(stream)
        assert pipe(stream) is source
        assert source.read_line() == "talk"
        assert source.read(1.0) == "0280:é\nquit\r\nlast"
        source.unread("quit\r\nlast")
        assert source.read_line() == "quit"
        assert source.read_line() == "last"
        assert source.read_line() is None
        assert source.read(0) is None


def test_a_pipe_nobody_writes_to_does_not_block():
    read, write = os.pipe()
    with os.fdopen(read) as stream, os.fdopen(write, "w"):
        source = pipe(stream)
        assert source.read(0) == ""
        assert source.read(0.05) == ""


def test_a_character_in_two_pieces_is_one():
    read, write = os.pipe()
    with os.fdopen(read) as stream:
        source = pipe(stream)
        os.write(write, b"\xc3")
        assert source.read(1.0) == ""
        os.write(write, b"\xa9")
        os.close(write)
        assert source.read(1.0) == "é"


def test_a_stream_in_memory_is_a_pipe():
    with keyboard(io.StringIO("A\n")) as keys:
        assert not keys.live
        assert keys.read(1.0) == "A\n"
        assert keys.read(1.0) is None


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX's")
def test_a_terminal_gives_keys_at_once_and_gets_its_settings_back():
    import termios

    master, slave = os.openpty()
    with os.fdopen(slave, "r+b", buffering=0) as raw, io.TextIOWrapper(raw) as stream:
        before = termios.tcgetattr(slave)
        with keyboard(stream) as keys:
            assert keys.live
            assert keys.read(0) == ""
            os.write(master, b"a\r")
            assert keys.read(1.0) == "a\r"
            os.write(master, b"\x1b[A\x13\x1a")
            assert keys.read(1.0) == "\x13\x1a", "neither stopped nor suspended"
            os.write(master, b"\x1b")
            assert keys.read(1.0) == "\x1b"
        assert termios.tcgetattr(slave) == before
    os.set_blocking(master, False)
    with pytest.raises(OSError):
        os.read(master, 100)  # nothing was echoed
    os.close(master)
