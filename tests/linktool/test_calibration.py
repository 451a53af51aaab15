"""What is measured on the scratch line, against boards whose display, latency and rate are known."""

from __future__ import annotations

import pytest

from linktool import machine as profiles
from linktool.board import open_board
from linktool.board.board import Board
from linktool.calibration import prepare
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.machine import Machine, with_link
from linktool.pacing import Pacing
from linktool.port import Port

HERON = profiles.load("heron")


def measured(port: Port, machine: Machine = HERON) -> Pacing:
    talk = Conversation(machine)
    drive(prepare(talk), port)
    return talk.pacing


@pytest.mark.parametrize(
    ("latency_s", "rate", "window"),
    # window: keys on the wire over a round trip, one in the register, one in the processor, rounded down
    [(0.002, 2400, 2), (0.004, 2400, 2), (0.016, 2400, 4), (0.016, 9600, 3), (0.028, 2400, 5)],
)
def test_round_trip_period_and_window(latency_s, rate, window):
    board = open_board(f"board:latency={latency_s},rate={rate}")
    pacing = measured(board)
    # 8N1 carries rate/10 characters a second; the key and its echo each take one character time
    assert pacing.round_trip_s == pytest.approx(2 * latency_s + 2 * 10 / rate, abs=0.001)
    assert pacing.period_s == pytest.approx(1 / 60, rel=0.01)
    assert pacing.window == window
    assert board.statistics().overruns == 0


@pytest.mark.parametrize("display", [30, 45])
def test_a_display_slower_than_stated_is_found_out(display):
    board = open_board(f"board:display={display},latency=0.016")
    pacing = measured(board)
    assert pacing.period_s == pytest.approx(1 / display, rel=0.02)


class Batched:
    """A port whose adapter hands over what came only every `every_s`, as some do."""

    def __init__(self, board: Board, every_s: float) -> None:
        self.board, self.every_s, self.name = board, every_s, board.name
        self._held, self._turn_s = b"", every_s

    def now(self) -> float:
        return self.board.now()

    def write(self, data: bytes) -> None:
        self.board.write(data)

    def read(self, until: float) -> bytes:
        while True:
            stop = min(until, self._turn_s)
            while self.now() < stop:
                self._held += self.board.read(stop)
            if self.now() >= self._turn_s:
                self._turn_s += self.every_s
                ready, self._held = self._held, b""
                if ready:
                    return ready
            if self.now() >= until:
                return b""

    def close(self) -> None:
        self.board.close()


def test_a_fast_display_is_used_even_where_echoes_come_together():
    board = open_board("board:display=1500,rate=19200,latency=0.002")
    machine = with_link(HERON, rate=19200)
    pacing = measured(Batched(board, 0.004), machine)
    assert pacing.period_s < 1 / 400


def test_echoes_held_up_together_do_not_make_a_slow_display_fast():
    board = open_board("board:display=60,rate=19200,latency=0.002")
    machine = with_link(HERON, rate=19200)
    pacing = measured(Batched(board, 0.040), machine)
    assert pacing.period_s > 0.95 / 60


def test_a_window_given_in_the_profile_is_kept():
    board = open_board("board:latency=0.016")
    assert measured(board, with_link(HERON, window=2)).window == 2
    assert measured(open_board("board:"), with_link(HERON, pacing="timed", key_delay_s=0.05)).gap_s == 0.05


@pytest.mark.parametrize("seed", range(8))
def test_a_poor_link_is_measured_all_the_same(seed):
    board = open_board(f"board:latency=0.016,seed={seed},fault=keys-lost:0.02,fault=prints-changed:0.01")
    pacing = measured(board)
    assert 1 <= pacing.window <= 4
    assert 0.015 < pacing.period_s < 0.040
    assert board.memory(0x0300, 0x3FFF) == open_board(f"board:seed={seed}").memory(0x0300, 0x3FFF)
