"""Waiting for one descriptor, with low numbers and with numbers that select does not take."""

from __future__ import annotations

import os
import resource
import time

import pytest

from linktool.readiness import SELECT_LIMIT, ready


def test_a_pipe_is_readable_when_bytes_wait_and_writable_when_there_is_room() -> None:
    reader, writer = os.pipe()
    before = time.monotonic()
    assert not ready(reader, 0.0)
    assert not ready(reader, -1.0)
    assert time.monotonic() - before < 5.0
    assert not ready(reader, 0.03)
    assert time.monotonic() - before >= 0.03
    assert ready(writer, 0.0, to_write=True)
    os.write(writer, b"A")
    assert ready(reader, 5.0)
    os.close(writer)
    os.read(reader, 1)
    assert ready(reader, 5.0)  # the end counts: the read that follows tells it
    os.close(reader)


def test_numbers_too_high_for_select_work_too() -> None:
    if resource.getrlimit(resource.RLIMIT_NOFILE)[0] <= SELECT_LIMIT + 50:
        pytest.skip("this system allows too few open files")
    import fcntl

    reader, writer = os.pipe()
    high = fcntl.fcntl(reader, fcntl.F_DUPFD, SELECT_LIMIT + 10)
    assert high >= SELECT_LIMIT
    assert not ready(high, 0.0)
    os.write(writer, b"A")
    assert ready(high, 5.0)
    for descriptor in (reader, writer, high):
        os.close(descriptor)


def test_a_closed_descriptor_is_an_error_not_a_wait() -> None:
    with pytest.raises((OSError, ValueError)):
        ready(-1, 1.0)
