"""What is answered about ports, rates and frames."""

from __future__ import annotations

import pytest

from linktool.errors import UsageError
from linktool.link_answers import frame_answer, port_answer, rate_answer, rate_or_find


def test_rates_and_frames():
    assert rate_answer("2400") == 2400
    assert rate_or_find("FIND") is None and rate_or_find("110") == 110
    assert frame_answer("7e1") == "7E1"
    assert port_answer("board:") == "board:"


@pytest.mark.parametrize("text", ["", "0", "49", "4000001", "2400 baud", "-300", "find"])
def test_what_is_no_rate(text):
    with pytest.raises(UsageError):
        rate_answer(text)


@pytest.mark.parametrize("text", ["", "8", "9N1", "8X1", "8N3"])
def test_what_is_no_frame(text):
    with pytest.raises(UsageError):
        frame_answer(text)


def test_what_is_no_port():
    with pytest.raises(UsageError):
        port_answer("usb://1")
