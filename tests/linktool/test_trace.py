"""Traces: written line by line, read back the same, and nothing but our own error for what is none."""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.errors import UsageError
from linktool.trace import Entry, TraceFile, as_line, parse_trace, read_trace

TALK = (
    Entry(10.0, "out", b"0280: A9\r"),
    Entry(10.25, "in", b"\x8d\xb0\xff"),
    Entry(10.25, "note", facts={"topic": "line", "facts": {"number": 3}}),
    Entry(11.5, "stop", facts={"asked": 1}),
    Entry(12.0, "lost", facts={"reason": "the cable"}),
)


def write(path: Path, *entries: Entry, port: str = "board:") -> None:
    with TraceFile(path, port, opened_at=10.0) as trace:
        for entry in entries:
            trace(entry)


def test_a_line_an_event_readable_and_flushed_at_once(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    trace = TraceFile(path, "board:", opened_at=10.0)
    for number, entry in enumerate(TALK, 2):
        trace(entry)
        assert len(path.read_text().splitlines()) == number
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    assert lines[0]["event"] == "open" and lines[0]["at"] == 0.0 and lines[0]["port"] == "board:"
    assert lines[1:] == [
        {"at": 0.0, "event": "out", "text": "0280: A9\r"},
        {"at": 0.25, "event": "in", "hex": "8DB0FF"},
        {"at": 0.25, "event": "note", "topic": "line", "facts": {"number": 3}},
        {"at": 1.5, "event": "stop", "asked": 1},
        {"at": 2.0, "event": "lost", "reason": "the cable"},
    ]
    trace.close()
    trace.close()
    trace(TALK[0])  # after the end nothing is written, and nothing breaks
    assert len(path.read_text().splitlines()) == 6


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    write(path, *TALK)
    write(path, TALK[0])
    first, second = read_trace(path)
    assert first == tuple(Entry(entry.at - 10.0, entry.event, entry.data, entry.facts) for entry in TALK)
    assert second == (Entry(0.0, "out", b"0280: A9\r"),)


def test_a_torn_last_line_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    write(path, *TALK)
    whole = path.read_bytes()
    last = whole.rindex(b"\n", 0, -1) + 1
    for end in range(last, len(whole)):
        (recording,) = parse_trace(whole[:end], "t")
        assert len(recording) == (5 if end == len(whole) - 1 else 4)


def test_going_on_behind_a_torn_line_begins_a_new_recording(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    write(path, *TALK)
    path.write_bytes(path.read_bytes()[:-9])
    write(path, TALK[0])
    first, second = read_trace(path)
    assert (len(first), len(second)) == (4, 1)


def test_an_empty_file_is_no_recording() -> None:
    assert parse_trace(b"", "t") == ()
    assert parse_trace(b"\n \n", "t") == ()


def test_lines_by_hand_need_no_opening_and_may_be_spaced() -> None:
    text = b'{"at": 0, "event": "out", "text": "A"}\r\n\r\n{"event": "in", "hex": "c1 0d", "at": 1e-1}\n'
    assert parse_trace(text, "t") == ((Entry(0.0, "out", b"A"), Entry(0.1, "in", b"\xc1\r")),)


@pytest.mark.parametrize(
    ("line", "found"),
    [
        (b"0280: A9", "no JSON"),
        (b"[" * 5000, "no JSON"),
        (b"\xff\xfe", "no JSON"),
        (b"[1]", "no JSON object"),
        (b'{"event": "out", "text": "A"}', '"at" is missing'),
        (b'{"at": -1, "event": "out", "text": "A"}', '"at" is -1'),
        (b'{"at": true, "event": "out", "text": "A"}', '"at" is true'),
        (b'{"at": NaN, "event": "out", "text": "A"}', "NaN is no number"),
        (b'{"at": 1e999, "event": "out", "text": "A"}', '"at" is Infinity'),
        (b'{"at": 1' + b"0" * 400 + b', "event": "out", "text": "A"}', '"at" is 1000'),
        (b'{"at": 1' + b"0" * 9999 + b', "event": "out", "text": "A"}', "no JSON"),
        (b'{"at": 0, "event": "sent", "text": "A"}', '"event" is "sent"; expected open or out'),
        (b'{"at": 0, "event": ["out"], "text": "A"}', '"event" is'),
        (b'{"at": 0, "event": "out"}', "both or none"),
        (b'{"at": 0, "event": "out", "text": "A", "hex": "41"}', "both or none"),
        (b'{"at": 0, "event": "out", "text": ""}', "has no bytes"),
        ('{"at": 0, "event": "out", "text": "\u20ac"}'.encode(), '"text" is'),
        (b'{"at": 0, "event": "out", "text": 7}', '"text" is 7'),
        (b'{"at": 0, "event": "in", "hex": "4"}', '"hex" is "4"; expected hex digits'),
        (b'{"at": 0, "event": "in", "hex": [65]}', '"hex" is'),
    ],
)
def test_garbage_is_refused_with_its_line(line: bytes, found: str) -> None:
    good = b'{"at": 0, "event": "out", "text": "A"}\n'
    with pytest.raises(UsageError) as refused:
        parse_trace(good + line + b"\n" + good, "bench.jsonl")
    assert str(refused.value).startswith("bench.jsonl, line 2: ") and found in str(refused.value)


def test_garbage_with_a_whole_line_end_is_no_torn_line() -> None:
    with pytest.raises(UsageError, match="line 1"):
        parse_trace(b"0280: A9\n", "t")


def test_a_time_that_runs_back_is_refused() -> None:
    lines = b'{"at": 2, "event": "stop"}\n{"at": 1, "event": "stop"}\n'
    with pytest.raises(UsageError, match=r"line 2: the time 1\.0 is before"):
        parse_trace(lines, "t")


def test_too_large_a_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    write(path, *TALK)
    with pytest.raises(UsageError, match="larger than 100 bytes"):
        read_trace(path, largest=100)
    assert len(read_trace(path, largest=path.stat().st_size)) == 1


def test_files_that_cannot_be_had_are_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"missing\.jsonl cannot be read: No such file"):
        read_trace(tmp_path / "missing.jsonl")
    with pytest.raises(UsageError, match="cannot be written: Is a directory"):
        TraceFile(tmp_path, "board:", 0.0)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no /dev/full")
def test_a_full_disk_does_not_end_the_work() -> None:
    trace = TraceFile(Path("/dev/full"), "board:", 0.0)
    trace(TALK[0])
    trace.close()
    assert os.strerror(errno.ENOSPC) in trace.failure


def test_facts_that_are_no_json_are_written_as_text_and_cannot_hide_the_event() -> None:
    entry = Entry(1.0, "note", facts={"topic": "x", "facts": {"path": Path("/tmp")}, "event": "out", "at": 9})
    assert json.loads(as_line(entry)) == {
        "at": 1.0,
        "event": "note",
        "topic": "x",
        "facts": {"path": "/tmp"},
    }


entries = st.builds(
    Entry,
    st.floats(0, 1e6).map(lambda number: round(number, 6)),
    st.sampled_from(["in", "out"]),
    st.binary(min_size=1, max_size=40),
)


@given(st.lists(entries, min_size=1, max_size=20))
def test_any_talk_is_read_back_as_it_was(talk: list[Entry]) -> None:
    talk.sort(key=lambda entry: entry.at)
    text = "".join(as_line(entry) + "\n" for entry in talk).encode()
    assert parse_trace(text, "t") == (tuple(talk),)


@given(st.lists(entries, min_size=1, max_size=5), st.data())
def test_a_changed_file_is_read_or_refused_by_our_own_error(talk: list[Entry], data: st.DataObject) -> None:
    talk.sort(key=lambda entry: entry.at)
    text = bytearray("".join(as_line(entry) + "\n" for entry in talk).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(text) - 1))
        text[place : place + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    try:
        for recording in parse_trace(bytes(text), "t"):
            assert all(isinstance(entry, Entry) for entry in recording)
    except UsageError as error:
        assert "t, line " in str(error)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_by_our_own_error(data: bytes) -> None:
    try:
        parse_trace(data, "t")
    except UsageError as error:
        assert "t, line " in str(error)
