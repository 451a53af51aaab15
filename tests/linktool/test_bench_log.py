"""The bench log: appended, read back, survived: torn lines, garbage, a full disk, a killed process."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.bench_log import (
    LONGEST_LINE,
    BenchLog,
    LogError,
    Record,
    Wanted,
    as_line,
    parse,
    parse_line,
    select,
)

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def record(minutes: int = 0, command: str = "check", **facts: object) -> Record:
    return Record(NOON + timedelta(minutes=minutes), command, "heron", "board:", dict(facts))


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "deep" / "bench-log.jsonl")


def test_what_is_appended_is_read_back_in_order(log):
    written = [record(0, ok=True), record(1, "note", text='größer als "2" \N{SNOWMAN}'), record(2, ok=False)]
    for each in written:
        log.append(each)
    assert log.read().records == tuple(written)
    lines = log.path.read_bytes().splitlines()
    assert [json.loads(line)["command"] for line in lines] == ["check", "note", "check"]


def test_a_log_that_is_not_there_is_empty(log):
    contents = log.read()
    assert contents.records == () and contents.skipped == 0
    assert not log.path.parent.exists(), "reading creates nothing"


def test_a_torn_last_line_costs_itself_only(log):
    log.append(record(0))
    with log.path.open("ab") as file:
        file.write(as_line(record(1))[:-20])
    assert log.read().records == (record(0),) and log.read().skipped == 1
    log.append(record(2))
    contents = log.read()
    assert contents.records == (record(0), record(2)) and contents.skipped == 1


@given(st.integers(0, len(as_line(record(1, text="x" * 40)))))
def test_torn_anywhere_the_next_entry_is_whole(cut):
    torn = as_line(record(0)) + as_line(record(1, text="x" * 40))[:cut]
    end = b"" if torn.endswith(b"\n") else b"\n"
    contents = parse(torn + end + as_line(record(2)))
    assert contents.records[0] == record(0) and contents.records[-1] == record(2)
    assert len(contents.records) + contents.skipped in (2, 3)


@given(st.binary(max_size=300))
def test_garbage_is_skipped_and_counted(junk):
    data = as_line(record(0)) + junk.replace(b"\n", b" ") + b"\n" + as_line(record(1))
    contents = parse(data)
    assert contents.records[0] == record(0) and contents.records[-1] == record(1)
    assert contents.skipped == (1 if junk.replace(b"\n", b" ").strip() and len(contents.records) == 2 else 0)


@pytest.mark.parametrize(
    "line",
    [
        b"null",
        b"[]",
        b'"text"',
        b"{}",
        b'{"at": 5, "command": "x", "machine": "", "port": ""}',
        b'{"at": "2026-11-25T12:00:00", "command": "x", "machine": "", "port": ""}',
        b'{"at": "2026-11-25T12:00:00+00:00", "command": "", "machine": "", "port": ""}',
        b'{"at": "2026-11-25T12:00:00+00:00", "command": "x", "machine": 3, "port": ""}',
        b"[" * 100_000,
        b'{"at": "2026-11-25T12:00:00+00:00", "command": "' + b"x" * LONGEST_LINE + b'"}',
    ],
)
def test_lines_that_are_no_records_are_none(line):
    assert parse_line(line) is None


def test_a_fact_of_the_wrong_kind_is_not_trusted():
    odd = record(0, pages="all of them", noise="three")
    assert odd.get("pages", list, []) == [] and odd.get("noise", int, 0) == 0


def test_of_a_large_file_the_newest_part_is_read(log):
    for minutes in range(200):
        log.append(record(minutes, text="x" * 50))
    size = log.path.stat().st_size
    contents = log.read(largest=size // 4)
    assert 30 < len(contents.records) <= 50 and contents.skipped == 0
    assert contents.records[-1] == record(199, text="x" * 50)
    assert contents.left_out > size // 2


def test_a_folder_that_cannot_be_made_is_an_error_that_says_so(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(LogError, match="cannot be written"):
        BenchLog(tmp_path / "file" / "bench-log.jsonl").append(record())


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_a_full_disk_is_an_error_that_says_so(tmp_path):
    path = tmp_path / "bench-log.jsonl"
    path.symlink_to("/dev/full")
    with pytest.raises(LogError, match="cannot be written"):
        BenchLog(path).append(record())


def test_a_folder_in_its_place_is_an_error_on_reading(tmp_path):
    with pytest.raises(LogError, match="cannot be read"):
        BenchLog(tmp_path).read()


WRITER = """
import sys
from pathlib import Path
from datetime import datetime, timezone
from linktool.bench_log import BenchLog, Record
log = BenchLog(Path(sys.argv[1]))
for number in range(100000):
    at = datetime(2026, 11, 25, tzinfo=timezone.utc)
    log.append(Record(at, "note", "", "", {"number": number, "who": sys.argv[2], "text": "x" * 3000}))
"""


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
def test_killed_in_the_middle_of_writing_everything_before_is_whole(log):
    def writer(who):
        return subprocess.Popen([sys.executable, "-c", WRITER, str(log.path), who])

    both = [writer("a"), writer("b")]
    try:
        end = time.monotonic() + 20
        while time.monotonic() < end and len(log.read().records) < 40:
            time.sleep(0.02)
    finally:
        for process in both:
            process.send_signal(signal.SIGKILL)
            process.wait(10)
    contents = log.read()
    assert len(contents.records) >= 40 and contents.skipped <= 2
    for who in "ab":
        numbers = [each.facts["number"] for each in contents.records if each.facts["who"] == who]
        assert numbers == list(range(len(numbers))), "none is missing and none is twice"
    log.append(record(1))
    assert log.read().records[-1] == record(1)


def test_entries_are_chosen():
    entries = [
        record(0, "check", ok=True),
        record(10, "note", text="K7 swapped"),
        Record(NOON + timedelta(minutes=20), "check", "dot", "/dev/ttyUSB0", {}),
        record(30, "survey", memory={"rounds": "K7"}),
    ]

    def chosen(**wanted: object) -> list[int]:
        return [entries.index(each) for each in select(entries, Wanted(**wanted))]

    assert chosen() == [0, 1, 2, 3]
    assert chosen(machine="heron") == [0, 1, 3]
    assert chosen(port="/dev/ttyUSB0") == [2]
    assert chosen(command="check") == [0, 2]
    assert chosen(since=NOON + timedelta(minutes=10), until=NOON + timedelta(minutes=30)) == [1, 2]
    assert chosen(text="k7") == [1], "packed memory is not searched"
