"""What of a report goes into the log; evidence kept there and taken out again."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.diagnosis import diagnose
from linktool.evidence import Evidence, Sample
from linktool.jobs.listing import Told
from linktool.jobs.report import Effort, Finding, Report, RunReport
from linktool.log_evidence import MOST_ROUNDS, evidence_facts, evidence_from
from linktool.log_facts import crc32_of, facts_of, faults_facts

HERON = profiles.load("heron")
IMAGE = Image.from_bytes(0x1000, bytes(range(32)))


def report(**more: object) -> Report:
    facts: dict[str, object] = {
        "command": "check",
        "machine": "heron",
        "port": "board:",
        "image": IMAGE,
        "proof": "read back",
        "effort": Effort(keystrokes=10, lines=1, seconds=2.345),
    }
    return Report(**(facts | more))  # type: ignore[arg-type]


def test_a_proven_check_says_what_and_how():
    facts = facts_of(report(proven=(Range(0x1000, 0x101F),)))
    assert facts is not None
    assert facts["ok"] is True and facts["status"] == 0 and facts["bytes"] == 32
    assert facts["segments"] == facts["proven"] == [{"first": "1000", "last": "101F"}]
    assert facts["seconds"] == 2.3 and "memory" not in facts
    json.dumps(facts)


def test_a_check_with_differences_keeps_all_that_a_diagnosis_needs():
    wrong = tuple(Finding(0x1000 + n, n, n | 0x40, "memory") for n in range(20))
    image = Image.from_bytes(0x1000, bytes(n if n < 20 else n | 0x40 for n in range(32)))
    facts = facts_of(report(image=image, proven=(Range(0x1014, 0x101F),), differences=wrong, noise=2))
    assert facts is not None and facts["differing"] == 20 and facts["noise"] == 2
    assert facts["differences"][1] == {"address": "1001", "expected": "01", "found": "41", "kind": "memory"}
    evidence = evidence_from(json.loads(json.dumps(facts["memory"])))
    assert evidence is not None and len(list(evidence.samples())) == 32 and evidence.wrong == 20
    (fault, noise) = diagnose(HERON, evidence).faults
    assert fault.cause.kind == "stuck" and noise.cause.kind == "noise"


def test_a_run_keeps_what_it_printed_made_safe():
    facts = facts_of(RunReport("heron", "board:", 0x0280, "HI\x1b[2J\r", True))
    assert facts is not None and facts["output"] == "HI.[2J\n" and facts["address"] == "0280"


def test_reports_that_are_no_jobs_are_not_logged():
    assert facts_of(Told("demo")) is None


def test_the_sum_is_the_catalogues():
    """CRC-32/ISO-HDLC of "123456789" is CBF43926 (RevEng catalogue; the same as zlib's)."""
    assert crc32_of(Image.from_bytes(0x0300, b"123456789")) == "CBF43926"
    apart = Image.from_runs([(0x0300, b"1234"), (0x0400, b"56789")])
    assert crc32_of(apart) == "CBF43926"


def test_faults_are_plain_values():
    samples = tuple(Sample(0x1000 + n, 0xFF, (0xF7,)) for n in range(8))
    (fault,) = faults_facts(diagnose(HERON, Evidence("check", (samples,))))
    assert fault["kind"] == "stuck" and fault["bits"] == [3] and fault["value"] == 0 and fault["chip"] == "K7"
    assert json.loads(json.dumps(fault)) == fault


@given(
    st.lists(
        st.lists(
            st.tuples(st.integers(0, 0xFFFF), st.integers(0, 255), st.integers(0, 255), st.integers(0, 255)),
            max_size=10,
            unique_by=lambda cell: cell[0],
        ),
        max_size=3,
    )
)
def test_evidence_comes_back_as_it_was(rounds):
    made = Evidence(
        "pattern",
        tuple(
            tuple(
                Sample(address, expected, (read ^ mask, read) if mask else (read,))
                for address, expected, read, mask in sorted(each)
            )
            for each in rounds
        ),
        noise=3,
        whole=False,
    )
    assert evidence_from(json.loads(json.dumps(evidence_facts(made)))) == made


def test_anything_else_is_no_evidence():
    good = evidence_facts(Evidence("check", ((Sample(1, 2, (3,)),),)))
    for odd in (
        None,
        [],
        {},
        {"source": "check"},
        {"source": "guess", "rounds": []},
        {"source": "check", "rounds": [{}]},
        {"source": "check", "rounds": ["x"]},
        {"source": "check", "rounds": [{"expected": "AAAA", "found": "", "changing": ""}]},
        {"source": "check", "rounds": good["rounds"] * (MOST_ROUNDS + 1)},
    ):
        assert evidence_from(odd) is None
    assert evidence_from(good | {"noise": "many"}) is not None
