"""The one-key register and the display that is busy for a while."""

from __future__ import annotations

from linktool.board.terminal import Display, Keyboard


def test_a_newer_key_replaces_one_that_was_not_read():
    keyboard = Keyboard()
    keyboard.arrivals.extend([(10, 0x41), (20, 0x42), (30, 0x43)])
    assert not keyboard.settle(9)
    assert not keyboard.waiting
    assert keyboard.settle(20)
    assert (keyboard.waiting, keyboard.code, keyboard.overruns) == (True, 0x42, 1)
    assert keyboard.take()
    assert not keyboard.take()
    assert keyboard.code == 0x42
    assert keyboard.settle(30)
    assert (keyboard.arrived, keyboard.taken, keyboard.overruns) == (3, 1, 1)


def test_a_character_written_while_the_display_is_busy_is_lost():
    shown: list[tuple[int, int]] = []
    display = Display(100.5, lambda cycle, code: shown.append((cycle, code)))
    display.write(10, 0xC1)
    display.write(110, 0x42)
    assert display.busy(110)
    assert not display.busy(111)
    display.write(111, 0x43)
    assert shown == [(10, 0x41), (111, 0x43)]
    assert (display.printed, display.lost) == (2, 1)
