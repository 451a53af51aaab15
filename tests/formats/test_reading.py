from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from formats.image import Image
from formats.reading import Reading, ReadOptions


def test_a_reading_is_frozen_and_quiet_by_default():
    reading = Reading(Image.from_bytes(0x300, b"\x01"))
    assert (reading.warnings, dict(reading.labels), reading.origin) == ((), {}, None)
    with pytest.raises(FrozenInstanceError):
        reading.origin = 3  # type: ignore[misc]


def test_the_options_ask_for_nothing_by_default():
    options = ReadOptions()
    assert (options.at, dict(options.symbols), options.processor, options.include) == (None, {}, "6502", None)
