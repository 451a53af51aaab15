"""SIGINT and SIGTERM become a count; the handlers of before come back."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading

import pytest

from linktool.actions import Cancelled, Lost, Talk, Wait
from linktool.driver import drive, interrupts
from tests.linktool.test_exchange import Dialogue


def test_both_signals_count_and_the_old_handlers_come_back() -> None:
    before = signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)
    with interrupts() as stop:
        assert stop() == 0
        os.kill(os.getpid(), signal.SIGINT)
        assert stop() == 1
        os.kill(os.getpid(), signal.SIGTERM)
        assert stop() == 2
    assert (signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)) == before


def test_many_fast_ones_do_not_break_out_while_somebody_listens() -> None:
    with interrupts() as stop:
        for count in range(1, 7):
            os.kill(os.getpid(), signal.SIGINT)
            assert stop() == count


def test_the_old_handlers_come_back_after_an_error_too() -> None:
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(ZeroDivisionError), interrupts():
        raise ZeroDivisionError
    assert signal.getsignal(signal.SIGINT) is before


def test_a_conversation_is_told_of_a_signal() -> None:
    def job() -> Talk[list[str]]:
        events = []
        for _ in range(2):
            os.kill(os.getpid(), signal.SIGINT)
            events.append((yield Wait(10.0)))
        return [type(event).__name__ for event in events]

    with interrupts() as stop:
        assert drive(job(), Dialogue(), stop=stop) == [Cancelled.__name__, Lost.__name__]


def test_outside_the_main_thread_nothing_is_installed() -> None:
    found = []

    def other() -> None:
        before = signal.getsignal(signal.SIGINT)
        with interrupts() as stop:
            found.append((stop(), signal.getsignal(signal.SIGINT) is before))

    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    assert found == [(0, True)]


def test_a_program_that_no_longer_listens_can_still_be_stopped() -> None:
    program = """
import os, signal, time
from linktool.interrupts import interrupts
with interrupts(deaf_s=0.05) as stop:
    for _ in range(2):
        os.kill(os.getpid(), signal.SIGINT)
    time.sleep(0.1)
    try:
        os.kill(os.getpid(), signal.SIGINT)
        print("went on")
    except KeyboardInterrupt:
        print("stopped")
"""
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert result.stdout == "stopped\n"
