"""What a person reads when a job ends: the true reason, in sentences right for one and for all."""

from __future__ import annotations

import pytest

from formats.image import Image, Range
from linktool.exchange import STOPPED_AT_ONCE
from linktool.jobs.report import Finding, Report
from linktool.jobs.type_text import TypeReport
from linktool.render import load_for
from linktool.render.text import lines

IMAGE = Image.from_bytes(0x0280, bytes(4))


def enter(**facts) -> str:
    return " ".join(lines(Report("enter", "heron", "board:", IMAGE, "read back", **facts)))


def test_a_second_ctrl_c_is_not_told_as_a_lost_link():
    shown = enter(lost=STOPPED_AT_ONCE)
    assert shown.startswith("Stopped at once, at the second Ctrl-C; the line in hand was not cancelled.")
    assert "link" not in shown.replace("linktool", "")


def test_a_machine_that_answers_otherwise_is_not_told_as_a_lost_link():
    assert enter(lost="something answers").startswith("The link failed: something answers.")


def test_what_the_receiver_took_is_not_said_to_have_been_echoed():
    gone = {"lost": "the link is cut", "typed": (Range(0x0280, 0x0281),)}
    assert "typed with the echo seen but not read back: 2." in enter(**gone)
    shown = enter(via="receiver", **gone)
    assert "taken by the receiver but not proven: 2." in shown and "echo" not in shown


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (4, "NOT proven: all 4 bytes at 0280-0283 differ."),
        (3, "NOT proven: 3 bytes of 4 bytes at 0280-0283 differ; proven: 1."),
        (1, "NOT proven: 1 byte of 4 bytes at 0280-0283 differs; proven: 3."),
    ],
)
def test_how_many_differ(wrong, said):
    found = tuple(Finding(0x0280 + at, 0, 1, "memory") for at in range(wrong))
    proven = tuple(Range(0x0280 + at, 0x0280 + at) for at in range(wrong, 4))
    assert said in enter(differences=found, proven=proven)


@pytest.mark.parametrize(
    ("source", "at", "said"),
    [
        ("list.txt", 0, "give the command again"),
        ("list.txt", 7, "`linktool type list.txt --from 7`"),
        ("my list.txt", 7, '`linktool type "my list.txt" --from 7`'),
    ],
)
def test_how_typing_goes_on_can_be_given_as_it_stands(source, at, said):
    report = TypeReport("heron", "board:", source, 9, max(0, at - 1), at, stopped=True)
    load_for(report)
    assert said in lines(report)[-1]
