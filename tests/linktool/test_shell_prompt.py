"""The prompt itself, with prompt_toolkit's pipe input: keys in, what the shell did out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.completion import CompleteEvent
from prompt_toolkit.document import Document
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from linktool.shell.prompt import session_for, talk_to_user
from tests.linktool.shell_rig import Rig


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    monkeypatch.delenv("LINKTOOL_MACHINE", raising=False)
    monkeypatch.chdir(tmp_path)
    rig = Rig(tmp_path)
    yield rig
    rig.bench.close()


def typed(rig: Rig, keys: str) -> int:
    with create_pipe_input() as pipe, create_app_session(input=pipe, output=DummyOutput()):
        pipe.send_text(keys)
        return talk_to_user(rig.shell, pipe, DummyOutput())


def test_lines_are_done_until_the_user_leaves(rig):
    assert typed(rig, "enter small.txt\rcheck\rquit\r") == 0
    assert rig.out.count("Proven: 8 bytes") == 2


def test_ctrl_d_leaves_and_ctrl_c_drops_the_line(rig):
    assert typed(rig, "enter small.txt\x03image\r\x04") == 0
    assert "No image is in hand" in rig.out


def test_tab_offers_what_may_stand_there(rig):
    with create_pipe_input() as pipe:
        completer = session_for(rig.shell, pipe, DummyOutput()).completer
    assert completer is not None
    offers = list(completer.get_completions(Document("enter sma"), CompleteEvent()))
    assert [(each.text, each.start_position) for each in offers] == [("small.txt ", -3)]
    verbs = list(completer.get_completions(Document("ente"), CompleteEvent()))
    assert [(each.text, each.display_meta_text) for each in verbs] == [
        ("enter ", "type an image in, read it back and prove it")
    ]


def test_a_failure_does_not_end_the_evening(rig):
    typed(rig, "nonsense\rcheck nofile\rhelp quit\r\x04")
    assert "Example: quit" in rig.out


def test_lines_are_kept_for_the_next_evening(rig):
    typed(rig, "image small.txt\rhelp quit\r\x04")
    rig.out  # noqa: B018  # forget what was shown
    typed(rig, "\x1b[A\x1b[A\r\x04")
    assert "image small.txt 0280-0287" in rig.out
    kept = (rig.folder / "state" / "history").read_text().splitlines()
    assert kept == ["image small.txt", "help quit", "image small.txt"]


def test_a_folder_that_cannot_be_written_does_not_matter(rig):
    (rig.folder / "state").write_text("a file stands here")
    assert typed(rig, "help quit\r\x04") == 0
    assert "Example: quit" in rig.out
