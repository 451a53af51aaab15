"""Names of boards: what the options do, and what is said of those that are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from linktool import machine as profiles
from linktool.board import open_board
from linktool.board.url import OPTIONS
from linktool.errors import ProfileError, UsageError
from linktool.machine import SHIPPED


def test_a_bare_name_is_the_heron_with_a_short_latency():
    board = open_board("board:")
    assert (board.machine.name, board.name) == ("heron", "board:")
    assert board.adapter.wire.latency_s == 0.002
    assert (board.adapter.wire.rate, board.adapter.wire.bits) == (2400, 10)


def test_options_set_what_they_name():
    board = open_board(
        "board:machine=dot,latency=0.016,jitter=0.001,rate=9600,strobe=0.01,display=30,clock=2000000,"
        "seed=7,fault=stuck:0280:3:0,fault=keys-lost:0.1"
    )
    wire = board.adapter.wire
    assert board.machine.name == "dot"
    assert (wire.latency_s, wire.jitter_s, wire.rate, wire.strobe_s) == (0.016, 0.001, 9600, 0.01)
    assert board.clock_hz == 2_000_000
    assert board.display.busy_cycles == pytest.approx(2_000_000 / 30)
    assert (len(board.bus.faults), len(board.adapter.faults)) == (1, 1)


@pytest.mark.parametrize(
    "url", ["board://machine=dot", "BOARD:machine=dot", "board:machine=DOT", "board:seed=1, machine=dot"]
)
def test_spellings_that_are_taken_too(url):
    assert open_board(url).machine.name == "dot"


def test_the_machine_handed_in_is_the_default_only():
    dot = profiles.load("dot")
    assert open_board("board:", dot).machine is dot
    assert open_board("board:machine=heron", dot).machine.name == "heron"


def test_a_machine_may_be_a_profile_in_a_file(tmp_path: Path):
    profile = tmp_path / "mine.toml"
    profile.write_text((SHIPPED / "heron.toml").read_text().replace('name = "heron"', 'name = "mine"'))
    assert open_board(f"board:machine={profile}").machine.name == "mine"


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("socket://x:1", "is no simulated board"),
        ("board", "is no simulated board"),
        ("board:machin=dot", "no option is called 'machin'. Options: machine, latency, jitter, rate, "),
        ("board:latency", "option latency has no value. It is written latency=SECONDS"),
        ("board:latency=", "option latency has no value"),
        ("board:latency=fast", "board option latency is 'fast'; allowed: a number from 0 to 10"),
        ("board:latency=nan", "board option latency is 'nan'"),
        ("board:latency=-1", "board option latency is '-1'"),
        ("board:rate=2400.5", "board option rate is '2400.5'; allowed: a whole number from 50 to 4e+06"),
        ("board:display=0", "board option display is '0'"),
        ("board:seed=1,seed=2", "option seed is given twice"),
        ("board:,", "no option is called ''"),
        ("board:fault=broken", "no fault is called 'broken'"),
    ],
)
def test_what_is_wrong_is_told_with_what_is_allowed(url, words):
    with pytest.raises(UsageError) as caught:
        open_board(url)
    assert words in str(caught.value)


def test_a_machine_nobody_knows():
    with pytest.raises(ProfileError, match="no machine is called 'hern'"):
        open_board("board:machine=hern")


def test_every_option_has_a_form_and_a_text():
    assert all(form and text for form, text in OPTIONS.values())
