"""Short sessions, the seeds that once broke a rule, and that the judge sees what it is there for.

The rules and what is fair stand in the package's docstring. Run many thousands by hand.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from formats.image import Image, Range
from linktool.board.board import Board
from linktool.jobs.report import Finding, Report
from tests.simulation.extras import draw
from tests.simulation.judge import Judge
from tests.simulation.many import seeds_of
from tests.simulation.plan import LARGEST, machine_named
from tests.simulation.session import Session, play
from tests.simulation.tally import RULES, Tally
from tests.simulation.wire import Disturbance, Disturbed

SESSIONS, BLOCK = 200, 20
SHORT = 32
"""Bytes a stretch at most: short sessions, so that the suite has many."""
NAMED_AT = 40
"""The same where the seeds below broke a rule: another length is another session."""

NAMED = {
    143: "bytes typed again at touching address lines spoilt what was proven before",
    1000157: "a cell forgot while its neighbours were read again, and stayed proven",
    78: "two echoes came together: no time between them, and a window without end",
    1000574: "address lines led to the monitor's own cells",
    1001121: "a jitter longer than the display's period",
    1001144: "one wrong character in a reading that was read once",
    1001345: "the same, on another machine",
    130: "a program left decimal mode on, and the reset did not end it",
    2000156: "the last line's echo came while the monitor was still at work on it",
    7000109: "a pace measured too fast on a jittering link, kept to the end",
    9000215: "a machine that the receiver cannot be used on",
}
"""Plain seeds that once broke a rule, and how. Where plan.py draws otherwise, they are like any other."""

NAMED_SHORT = {
    36: "a diagnosis of nothing but noise could not be put into words",
    289: "a ROM that holds one byte throughout was said not to answer",
    127: "an erased ROM beyond the profile was said not to answer",
    211: "a byte of a ROM that an empty bus would show as well: the page was said not to answer",
    259: "empty pages that read as another page's tag were said to mirror it",
    167: "a line lost by a reset, whose answer looked right, was called a bad cell",
    199: "an entry over a one-way link, stopped, spoke of echoes seen and of the prompt",
    2666: "of half a block that mirrors the monitor's memory the other half was said to mirror it too",
    2740: "an erased ROM was said not to answer where nothing told how an empty page reads",
    8004360: "data lines joined behind a lost address line: one chip was called bad for certain",
    222: "survey --deep said that memory was as before where its programs had stood",
}
"""The same of sessions with more than a plain plan, at NAMED_AT."""

NAMED_TESTS = {
    384: "a cell that forgets was said to be ROM",
    7000744: "a machine that never answers a line was asked for hours",
    7000866: "two stuck chips made one page's tag look like another's: a mirror was claimed",
}
"""The same at full length."""

NAMED_SHORTER = {
    21003166: "a missing bank was called two bad chips, all its bytes having been meant to be the same",
    21008594: "where the guard's cell did not hold, pages were said to mirror the monitor's memory, unseen",
    21009771: "a byte of an empty page was like the one that it would mirror, by chance",
    21012086: "one wrong character on a link without errors so far was called an unsteady cell",
    21012232: "a survey stopped early said of an erased ROM that it does not answer",
    21013866: "pages that may show the monitor's memory were said to mirror it, unseen",
    31001006: "one byte of a check differed in one bit, and its chip was called bad for certain",
    31003838: "three joined data lines were called three bad chips, each for certain",
    31018701: "two like strays on a link with many errors were called an unsteady cell",
}
"""The same at 32 bytes."""


@pytest.mark.parametrize("first", range(0, SESSIONS, BLOCK))
def test_nothing_is_claimed_that_is_not_so(first: int):
    tally = Tally()
    for seed in seeds_of(7, SESSIONS)[first : first + BLOCK]:
        tally.add(play(seed, largest=SHORT))
    assert tally.broken == {}, "\n".join(tally.rows())
    assert tally.counts["sessions"] == BLOCK


@pytest.mark.parametrize("seed", NAMED)
def test_a_seed_that_once_broke_a_rule(seed):
    outcome = play(seed, plain=True)
    assert outcome.wrongs == [], outcome.told


OTHERS = [*((seed, NAMED_AT) for seed in NAMED_SHORT), *((seed, LARGEST) for seed in NAMED_TESTS)]
OTHERS += [(seed, 32) for seed in NAMED_SHORTER]


@pytest.mark.parametrize(("seed", "largest"), OTHERS)
def test_a_seed_with_tests_of_memory_or_a_one_way_link_that_once_broke_a_rule(seed, largest):
    outcome = play(seed, largest=largest)
    assert outcome.wrongs == [], outcome.told


def test_the_same_seed_is_the_same_session():
    first, second = play(7000003), play(7000003)
    assert (first.counts, first.told, first.virtual_s) == (second.counts, second.told, second.virtual_s)
    assert draw(7000003) == draw(7000003) != draw(7000004)


def test_sessions_differ_and_all_that_can_happen_happens():
    plans = [draw(seed) for seed in range(3000)]
    assert {plan.machine.name for plan in plans} == {"heron", "dot", "letters"}
    moments = {moment.kind for plan in plans for step in plan.steps for moment in step.moments}
    assert moments == {"reset", "cut", "ctrl-c", "ctrl-c twice", "kill"}
    kinds = {fault.partition(":")[0] for plan in plans for fault in plan.memory_faults}
    assert {"stuck", "unsteady", "forgets", "coupling", "address-open", "stuck-chip"} <= kinds
    rates = {name for plan in plans for name in plan.disturbance.rates}
    assert len(rates) == 6


# ---- the judge itself ---------------------------------------------------------------------------------

IMAGE = Image.from_bytes(0x0300, bytes(range(8)))


def claim(**changes: object) -> Report:
    report = Report("check", "heron", "board:", IMAGE, "read back", proven=(Range(0x0300, 0x0307),))
    return replace(report, **changes)  # type: ignore[arg-type]


def judged(report: Report, *faults: str, held: bytes = bytes(range(8))) -> set[str]:
    board = Board(machine_named("heron"), faults=faults)
    board.poke(0x0300, held)
    return {wrong.rule for wrong in Judge(board, IMAGE, Random(1)).claims(report)}


def test_a_true_claim_is_passed():
    assert judged(claim()) == set()


def test_a_false_claim_is_seen():
    assert judged(claim(), held=bytes(8)) == {"claimed proven but different"}


def test_a_stuck_bit_is_no_excuse():
    assert judged(claim(), "stuck:0300:0:1") == {"claimed proven but different"}


def test_an_unsteady_cell_that_never_answered_rightly_is_no_excuse():
    assert judged(claim(), "unsteady:0300:0:0.5", held=bytes([9, *range(1, 8)])) == {
        "claimed proven but different"
    }


def test_a_false_alarm_is_seen_and_a_true_one_is_passed():
    alarm = claim(proven=(), differences=(Finding(0x0300, 0, 9, "memory"),))
    assert judged(alarm) == {"false alarm"}
    assert judged(alarm, held=bytes([9, *range(1, 8)])) == set()
    assert judged(replace(alarm, differences=(Finding(0x0300, 0, 9, "unsteady"),))) == set()


def test_status_0_with_something_left_out_is_seen():
    assert judged(claim(proven=(Range(0x0300, 0x0306),))) == {"status 0 but not all proven"}


def test_a_session_with_a_linktool_that_lies_is_caught():
    """A check that claims everything: the rule must break."""
    plan = replace(draw(7000003), there=True, changed=(draw(7000003).image.segments[0].first,))
    session = Session(plan)
    board = session.board
    report = claim(image=plan.image, proven=tuple(segment.range for segment in plan.image.segments))
    assert {wrong.rule for wrong in Judge(board, plan.image, Random(1)).claims(report)} == {
        "claimed proven but different"
    }


def test_faults_of_the_wire_are_counted_and_can_be_ended():
    wire = Disturbed(Disturbance(singles={("keys", 2): "lost", ("prints", 1): "doubled"}), Random(1))
    assert [wire.key(0x41), wire.key(0x42), wire.key(0x43)] == [[0x41], [], [0x43]]
    assert wire.print(0x41) == [0x41, 0x41]
    assert wire.counts == {"keys: lost": 1, "prints: doubled": 1}
    noisy = Disturbed(Disturbance(rates={"keys changed": 1.0}), Random(1))
    assert noisy.key(0x41) != [0x41]
    noisy.mend()
    assert noisy.key(0x41) == [0x41]


def test_the_table_names_every_rule():
    tally = Tally()
    outcome = play(7000001)
    tally.add(outcome)
    rows = "\n".join(tally.rows())
    assert all(rule in rows for rule in RULES)
    assert "sessions" in rows and "must be 0" in rows
