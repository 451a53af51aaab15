"""What should never happen ends in a sentence, and its traceback in a file."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from linktool.errors import OWN_FAULT
from linktool.own_fault import kept
from linktool.shell.session import Shell
from tests.linktool.shell_rig import Rig


def a_fault() -> Exception:
    try:
        {}["nothing"]
    except KeyError as error:
        return error
    raise AssertionError


def test_the_sentence_names_the_fault_and_the_file_holds_the_rest(tmp_path):
    error = kept(a_fault(), tmp_path / "state")
    assert error.exit_status == OWN_FAULT
    assert error.message == "linktool itself went wrong, and stopped: KeyError: 'nothing'"
    assert str(tmp_path / "state" / "fault.txt") in error.hint
    text = (tmp_path / "state" / "fault.txt").read_text("utf-8")
    assert text.startswith("Traceback") and "in a_fault" in text and "KeyError: 'nothing'" in text


def test_where_no_file_can_be_written_the_place_is_said(tmp_path):
    (tmp_path / "state").write_text("a file stands where the folder should be")
    error = kept(a_fault(), tmp_path / "state")
    assert "It was in test_own_fault.py, line " in error.hint


def test_the_shell_says_it_and_goes_on(tmp_path):
    rig = Rig(tmp_path)
    err, broken = io.StringIO(), [True]

    def now() -> datetime:
        return datetime(2026, 11, 25) if not broken else datetime(0, 0, 0)

    shell = Shell(rig.bench, io.StringIO(), err, now)
    assert shell.execute(f'enter "{rig.file.as_posix()}"').exit_status == OWN_FAULT
    assert "! linktool itself went wrong, and stopped: ValueError" in err.getvalue().replace("\n", " ")
    assert "Traceback" not in err.getvalue()
    broken.clear()
    assert shell.execute(f'enter "{rig.file.as_posix()}"').exit_status == 0
    rig.bench.close()


@pytest.mark.skipif(os.name == "nt", reason="a shell that closes standard output is needed")
def test_a_command_says_it_and_ends_with_a_status_of_its_own(tmp_path: Path):
    """Provoked by a standard output that is closed."""
    command = f'exec "{sys.executable}" -m linktool machines >&-'
    environment = {**os.environ, "LINKTOOL_FOLDER": str(tmp_path)}
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, env=environment, timeout=60)
    said = " ".join(done.stderr.split())
    assert done.returncode == OWN_FAULT and "linktool itself went wrong" in said
    assert "File " not in said and (tmp_path / "state" / "fault.txt").is_file()
