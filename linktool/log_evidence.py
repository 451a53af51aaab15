"""Evidence as plain values, for the bench log; and back, so that a diagnosis can be made of it later."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast, get_args

from formats.image import Image
from linktool.evidence import Evidence, Round, Sample, Source
from linktool.packed_image import pack, unpack

MOST_ROUNDS = 8


def evidence_facts(evidence: Evidence) -> dict[str, Any]:
    """What should be there and what was read, packed; and for unsteady bytes the bits that changed."""
    return {
        "source": evidence.source,
        "noise": evidence.noise,
        "whole": evidence.whole,
        "rounds": [
            {
                "expected": pack(Image.from_cells((s.address, s.expected) for s in each)),
                "found": pack(Image.from_cells((s.address, s.found) for s in each)),
                "changing": pack(Image.from_cells((s.address, _changing(s)) for s in each if not s.steady)),
            }
            for each in evidence.rounds
        ],
    }


def _changing(sample: Sample) -> int:
    mask = 0
    for reading in sample.readings:
        mask |= reading ^ sample.readings[0]
    return mask


def evidence_from(facts: object) -> Evidence | None:
    """What `evidence_facts` made; None where it is not that, since a log may have been edited."""
    if not isinstance(facts, Mapping):
        return None
    source, rounds = facts.get("source"), facts.get("rounds")
    if source not in get_args(Source) or not isinstance(rounds, list) or len(rounds) > MOST_ROUNDS:
        return None
    try:
        found = tuple(_round(each) for each in rounds)
    except (ValueError, AttributeError):
        return None
    noise, whole = facts.get("noise"), facts.get("whole")
    return Evidence(
        cast(Source, source),
        found,
        noise if isinstance(noise, int) and not isinstance(noise, bool) and noise >= 0 else 0,
        whole is not False,
    )


def _round(facts: Mapping[str, Any]) -> Round:
    expected, found = unpack(facts.get("expected")), unpack(facts.get("found"))
    changing = unpack(facts.get("changing"))
    samples = []
    for address, value in expected.cells():
        read, mask = found.get(address), changing.get(address)
        if read is not None:
            samples.append(Sample(address, value, (read ^ mask, read) if mask else (read,)))
    return tuple(samples)
