"""Faults found and mended, and what is known of memory, from entries of the log."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.bench_log import Record
from linktool.evidence import from_images
from linktool.known_memory import known_memory, range_of
from linktool.log_evidence import evidence_facts
from linktool.mended import faults_in

HERON = profiles.load("heron")
START = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
STUCK = {"kind": "stuck", "where": [{"first": "1000", "last": "1FFF"}], "bits": [3], "value": 0, "chip": "K7"}
BANK = {"first": "1000", "last": "1FFF"}


def entry(minutes: int, command: str, **facts: object) -> Record:
    return Record(START + timedelta(minutes=minutes), command, "heron", "board:", facts)


def wrong_bytes(*addresses: int) -> dict[str, object]:
    right = Image.from_cells((a, 0x55) for a in addresses)
    return evidence_facts(from_images("check", right, Image.from_cells((a, 0x54) for a in addresses)))


def test_a_named_fault_is_mended_by_a_test_of_its_place_that_finds_nothing():
    found = entry(0, "diagnose", ok=False, faults=[STUCK], segments=[BANK])
    again = entry(5, "survey", ok=False, faults=[STUCK])
    elsewhere = entry(6, "diagnose", ok=True, faults=[], segments=[{"first": "2000", "last": "2FFF"}])
    good = entry(9, "diagnose", ok=True, faults=[], segments=[BANK])
    (fault,) = faults_in([found, again, elsewhere])
    assert fault.times == 2 and fault.mended is None and fault.first == found and fault.last == again
    (fault,) = faults_in([found, again, elsewhere, good])
    assert fault.mended == good


def test_it_comes_back_unmended():
    found, good = (
        entry(0, "diagnose", ok=False, faults=[STUCK]),
        entry(1, "diagnose", ok=True, segments=[BANK]),
    )
    again = entry(2, "diagnose", ok=False, faults=[STUCK])
    (fault,) = faults_in([found, good, again])
    assert fault.mended is None and fault.times == 2


def test_a_survey_as_expected_mends_a_cause_but_not_bytes_that_differed():
    bad = entry(0, "check", ok=False, memory=wrong_bytes(0x1010, 0x1011))
    caused = entry(1, "diagnose", ok=False, faults=[STUCK])
    survey = entry(2, "survey", ok=True, stretches=[BANK | {"verdict": "as expected", "label": "bank 1"}])
    bytes_fault, cause = faults_in([bad, caused, survey])
    assert bytes_fault.facts is None and bytes_fault.where == (Range(0x1010, 0x1011),)
    assert bytes_fault.mended is None and cause.mended == survey
    partly = entry(3, "check", ok=True, proven=[{"first": "1010", "last": "1010"}])
    whole = entry(4, "enter", ok=True, proven=[{"first": "1000", "last": "10FF"}])
    assert faults_in([bad, partly])[0].mended is None
    assert faults_in([bad, partly, whole])[0].mended == whole


def test_stretches_that_are_wrong_without_a_cause_count_and_noise_does_not():
    survey = entry(0, "survey", ok=False, stretches=[BANK | {"verdict": "wrong", "label": "bank 1"}])
    noisy = entry(1, "check", ok=True, faults=[{"kind": "noise", "where": []}])
    (fault,) = faults_in([survey, noisy])
    assert fault.where == (Range(0x1000, 0x1FFF),)


def test_edited_entries_are_survived():
    odd = entry(
        0,
        "survey",
        ok=False,
        faults="all",
        stretches=[None, 5, {"verdict": "wrong"}, {"first": "x", "last": "y", "verdict": "wrong"}],
        memory={"rounds": 3},
        proven=[{"first": "2000", "last": "1000"}],
        pages=[["zz", "ram"], ["100", "ram"], ["10"], 7, ["11", "gone"]],
    )
    assert faults_in([odd]) == []
    assert known_memory(HERON, [odd]).taken == ()
    for value in (None, [], {}, {"first": 1, "last": 2}, {"first": "FFFFF", "last": "FFFFF"}):
        assert range_of(value) is None


def test_what_is_known_of_memory_later_over_earlier():
    survey = entry(0, "survey", pages=[["10", "ram"], ["20", "floating"], ["30", "mirror", "10"]])
    entered = entry(
        1, "enter", typed=[{"first": "1000", "last": "10FF"}], proven=[{"first": "1000", "last": "107F"}]
    )
    check = entry(2, "check", ok=False, memory=wrong_bytes(0x1004))
    known = known_memory(HERON, [survey, entered, check])
    states = {str(where): state for where, state in known.ranges}
    assert states["1000-1003"] == "proven" and states["1004"] == "differs" and states["1080-10FF"] == "typed"
    assert states["2000-20FF"] == "floating" and states["3000-30FF"] == "mirror"
    assert states["9F00-9F03"] == "io" and states["FF00-FFFF"] == "rom"
    assert known.taken == (
        "survey of 2026-11-25 19:00",
        "enter of 2026-11-25 19:01",
        "check of 2026-11-25 19:02",
    )


def test_what_a_march_found_is_known_too():
    survey = entry(
        0,
        "survey",
        ok=False,
        pages=[["12", "ram"], ["03", "ram"]],
        marches=[
            {
                "first": "1000",
                "last": "1FFF",
                "ok": False,
                "lines": [["1234", "00", "20"], ["1234", "55", "75"]],
            },
            {"first": "2000", "last": "2FFF", "ok": True, "lines": []},
            "edited",
            {"lines": [[], ["zz"], 5]},
        ],
        differences=[{"address": "0310", "expected": "00", "found": "01", "kind": "memory"}, 3],
    )
    states = {str(where): state for where, state in known_memory(HERON, [survey]).ranges}
    assert states["1234"] == "differs" and states["1235-12FF"] == "ram" and states["0310"] == "differs"
