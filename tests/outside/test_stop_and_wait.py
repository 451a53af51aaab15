"""Window 1 is stop-and-wait: its measured rate against U = Tf / (Tf + 2 Tprop + Tproc).

Source of the formula: stop-and-wait ARQ, e.g. Leon-Garcia, Communication Networks (formula computed).
Here Tf is the character time on the wire, Tprop the adapter's latency each way; the machine's own
character time comes back the same way, so a key takes 2 (Tf + Tprop) and a little processing.
"""

from __future__ import annotations

import pytest

from linktool import machine as profiles
from linktool.actions import Talk
from linktool.board import open_board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.pacing import Pacing
from linktool.waking import wake


@pytest.mark.parametrize("latency_s", [0.016, 0.030])
def test_window_one_runs_at_the_formula_s_rate(latency_s):
    talk = Conversation(profiles.load("heron"))
    keys = 60

    def job() -> Talk[float]:
        yield from wake(talk)
        yield from talk.pause(0.1)
        talk.pacing = Pacing(window=1, period_s=1 / 60, round_trip_s=0.5, slack_s=1)
        began = talk.now
        proven = yield from talk.type_text("0" * keys)
        assert proven
        return talk.now - began

    board = open_board(f"board:latency={latency_s},rate=2400")
    seconds = drive(job(), board)
    character_s = 10 / 2400  # 8N1: ten bits (CACM 8(9), 1965, 553-556)
    expected = 1 / (2 * (character_s + latency_s))
    assert keys / seconds == pytest.approx(expected, rel=0.02)
