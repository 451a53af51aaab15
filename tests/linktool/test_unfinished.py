"""Unfinished work in its file: whole or not at all, throttled, and never guessed at."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool.errors import UsageError
from linktool.packed_image import pack
from linktool.unfinished import Keeper, Unfinished, file_of, load, remove, save

WHEN = datetime(2026, 11, 25, 19, 42, tzinfo=UTC)
IMAGE = Image.from_bytes(0x0280, bytes(range(100)))
ENTRY = Unfinished("enter", "heron", "board:", WHEN, IMAGE, options={"run": 0x0280})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return file_of(tmp_path, "heron", "board:", entry=True)


def test_what_is_saved_is_loaded(path):
    test = Unfinished("survey", "heron", "board:", WHEN, IMAGE, (IMAGE.moved(0x1000), Image()), 0, {})
    for work in (ENTRY, test):
        save(path, work)
        assert load(path) == work
    assert [each.name for each in path.parent.iterdir()] == [path.name], "no part is left"


def test_each_port_machine_and_kind_has_a_file_of_its_own(tmp_path):
    names = {
        file_of(tmp_path, machine, port, entry)
        for machine in ("heron", "dot")
        for port in ("board:", "/dev/ttyUSB0", "socket://host:7777/../..")
        for entry in (True, False)
    }
    assert len(names) == 12
    assert {name.parent for name in names} == {tmp_path / "unfinished"}


def test_nothing_there_is_none_and_removing_it_is_no_error(path):
    assert load(path) is None
    remove(path)


@pytest.mark.parametrize(
    "change",
    [
        {"command": "demo"},
        {"machine": 3},
        {"typed": -1},
        {"typed": True},
        {"image": "AAAA"},
        {"written": 5},
        {"began": "yesterday"},
        {"options": []},
    ],
)
def test_a_file_that_says_something_odd_is_an_error(path, change):
    save(path, ENTRY)
    facts = json.loads(path.read_text()) | change
    path.write_text(json.dumps(facts))
    with pytest.raises(UsageError, match="does not hold unfinished work"):
        load(path)


@given(data=st.binary(max_size=200))
def test_junk_is_an_error_of_our_own(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("junk") / "x.json"
    path.write_bytes(data)
    with pytest.raises(UsageError):
        load(path)


def test_more_typed_than_there_is_claims_no_more_than_the_image(path):
    save(path, ENTRY)
    facts = json.loads(path.read_text()) | {"typed": 5000}
    path.write_text(json.dumps(facts))
    work = load(path)
    assert work is not None and work.claimed == IMAGE


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def progress(done: int, total: int = 100, phase: str = "enter") -> dict[str, object]:
    return {"phase": phase, "done": done, "total": total}


def test_an_entry_is_kept_about_once_a_second(path):
    clock = Clock()
    keeper = Keeper(path, ENTRY, clock)
    assert load(path) is None
    keeper.take("begin", {"command": "enter"})
    assert load(path) == ENTRY
    kept = []
    for tenths in range(1, 31):
        clock.now = tenths / 10
        keeper.take("progress", progress(3 * tenths))
        kept.append(load(path).typed)
    assert len(set(kept)) == 4, "at 1 s, 2 s and 3 s, and nothing before"
    assert kept[-1] == 90


def test_the_last_byte_is_kept_at_once_and_reading_back_does_not_count(path):
    keeper = Keeper(path, ENTRY, Clock())
    keeper.take("begin", {})
    keeper.take("progress", progress(100))
    assert load(path).typed == 100
    keeper.take("progress", progress(5, phase="check"))
    keeper.take("retype", {"bytes": 5})
    keeper.take("progress", progress(5, total=5))
    assert load(path).typed == 100


def test_a_finished_entry_is_forgotten_and_a_stopped_one_knows_what_was_typed(path):
    keeper = Keeper(path, ENTRY, Clock())
    keeper.take("begin", {})
    keeper.end(False, [Range(0x0280, 0x02A0), Range(0x02B0, 0x02C0)])
    work = load(path)
    assert work is not None and work.typed == 0x21, "only what is typed from the start on without a gap"
    assert work.claimed == IMAGE.slice(Range(0x0280, 0x02A0))
    keeper.end(True)
    assert load(path) is None


def test_a_test_tells_what_it_will_write_over_before_it_does(path):
    test = Unfinished("survey", "heron", "board:", WHEN, Image())
    keeper = Keeper(path, test, Clock())
    keeper.take("begin", {})
    assert load(path) is None
    keeper.take("borrowed", {"image": pack(IMAGE)})
    assert load(path).image == IMAGE
    tags = Image.from_bytes(0x0280, b"\x5a\xa5")
    keeper.take("borrowing", {"image": pack(tags)})
    work = load(path)
    assert work is not None and work.written == (tags,) and work.image == IMAGE


def test_a_folder_that_cannot_be_written_is_told_and_does_not_stop_the_work(tmp_path):
    (tmp_path / "unfinished").write_text("a file where the folder should be")
    keeper = Keeper(file_of(tmp_path, "heron", "board:", True), ENTRY, Clock())
    keeper.take("begin", {})
    keeper.take("progress", progress(100))
    keeper.end(False)
    assert "cannot be written" in keeper.failure
