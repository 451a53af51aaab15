"""Lines of earlier evenings: kept, capped, private, and never in the way."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from linktool.shell.history import CAPPED, History


def test_lines_are_there_the_next_evening(tmp_path):
    path = tmp_path / "new folder" / "history"
    first = History(path)
    for line in ("enter blink.hex", "run", "run", "  ", "check"):
        first.add(line)
    assert History(path).lines == ["enter blink.hex", "run", "check"]


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are POSIX's")
def test_only_the_owner_may_read_them(tmp_path):
    path = tmp_path / "history"
    History(path).add("port board:")
    assert path.stat().st_mode & 0o777 == 0o600


def test_the_file_is_cut_when_it_has_grown(tmp_path):
    path = tmp_path / "history"
    path.write_text("".join(f"run {number}\n" for number in range(2 * CAPPED)))
    kept = History(path).lines
    assert len(kept) == CAPPED and kept[-1] == f"run {2 * CAPPED - 1}"
    assert len(path.read_text().splitlines()) == CAPPED
    assert os.listdir(tmp_path) == ["history"]


@pytest.mark.parametrize("spoilt", [b"\xff\xfe\x00run\n", b"run\x1b[2J\n", b"run"])
def test_a_spoilt_file_is_read_as_far_as_it_goes(tmp_path, spoilt):
    path = tmp_path / "history"
    path.write_bytes(spoilt)
    assert any("run" in line for line in History(path).lines)
    assert not any("\x1b" in line or "\0" in line for line in History(path).lines)


def test_where_nothing_can_be_written_it_is_kept_in_memory(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    history = History(Path(blocked) / "history")
    history.add("run")
    assert history.lines == ["run"]
