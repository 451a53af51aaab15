"""Entries of the bench log in words: one line each, or whole. The log's list and the page both use these.

An entry may come from a file that somebody has edited: what does not fit is left out, never trusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from linktool.bench_log import Record
from linktool.known_memory import range_of
from linktool.render.text import count, duration, how_lost

Facts = Mapping[str, Any]
_PROOFS = {"read back": "every byte read back", "checksum": "the machine's checksum agrees"}


def text_of(value: object) -> str:
    """A fact as text; "" for what is none."""
    return value if isinstance(value, str) else ""


def list_of(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def number_of(value: object) -> float:
    return value if isinstance(value, (int, float)) and not isinstance(value, bool) else 0


def facts_in(value: object) -> Facts:
    return value if isinstance(value, Mapping) else {}


def ranges_text(value: object, most: int = 12) -> str:
    """Ranges of the log in one line; more than `most` are counted."""
    ranges = [where for each in list_of(value) if (where := range_of(each))]
    if len(ranges) > most:
        size = count(sum(len(each) for each in ranges), "byte")
        return f"{size} in {len(ranges)} stretches, {ranges[0].first:04X} to {ranges[-1].last:04X}"
    return ", ".join(str(where) for where in ranges)


def failed(record: Record) -> bool:
    """Whether the entry says that something was wrong."""
    return record.facts.get("ok") is False


def headline(record: Record) -> str:
    """What was done and what came of it, in one line."""
    facts = record.facts
    if record.command == "note":
        return text_of(facts.get("text"))
    if facts.get("lost"):
        return f"{_what(record)}: {how_lost(text_of(facts['lost']), within=True)}"
    if facts.get("stopped"):
        return f"{_what(record)}: stopped"
    return f"{_what(record)}{_outcome(record)}"


def _what(record: Record) -> str:
    facts = record.facts
    parts = [" ".join(text_of(name) for name in list_of(facts.get("sources")))]
    parts.append(ranges_text(facts.get("segments")))
    if "program" in facts:
        parts.append(text_of(facts["program"]))
    if record.command == "run":
        parts.append(text_of(facts.get("address")))
    return " ".join(part for part in parts if part)


def _outcome(record: Record) -> str:
    facts = record.facts
    if record.command in ("enter", "check", "resume") and "bytes" in facts:
        return _compared(facts)
    if record.command == "read":
        saved = f", saved to {text_of(facts.get('saved'))}" if facts.get("saved") else ""
        return f": {count(int(number_of(facts.get('bytes'))), 'byte')} read{saved}"
    if record.command == "run":
        size = len(text_of(facts.get("output")))
        back = ", back at the prompt" if facts.get("back_at_prompt") is True else ""
        return f": printed {count(size, 'character')}{back}"
    if record.command == "survey":
        return _surveyed(facts)
    if record.command == "diagnose":
        named = [fault_text(each) for each in list_of(facts.get("faults"))]
        return f": {'; '.join(named) or 'no fault was found'}"
    if record.command == "programs":
        trials = list_of(facts.get("trials"))
        if trials:
            bad = [
                text_of(facts_in(each).get("program"))
                for each in trials
                if facts_in(each).get("ok") is not True
            ]
            which = f"; not {', '.join(bad)}" if bad else ""
            return f"{len(trials) - len(bad)} of {count(len(trials), 'program')} as they should be{which}"
        return f": {text_of(facts.get('says'))}"
    if record.command == "resume":
        return f"memory given back: {ranges_text(facts.get('restored')) or 'nothing'}"
    return ": done" if facts.get("ok") is True else ""


def _compared(facts: Facts) -> str:
    size = count(int(number_of(facts.get("bytes"))), "byte")
    differing = int(number_of(facts.get("differing")))
    if differing:
        return f": {count(differing, 'byte')} of {size} differ"
    proof = _PROOFS.get(text_of(facts.get("proof")))
    return f": {size} proven, {proof}" if proof else f": {size} sent, not verified"


def _surveyed(facts: Facts) -> str:
    wrong = [facts_in(each) for each in list_of(facts.get("stretches"))]
    wrong = [each for each in wrong if each.get("verdict") == "wrong"]
    parts = [f"{count(len(list_of(facts.get('pages'))), 'page')} looked at"]
    named = ", ".join(f"{text_of(each.get('label'))} {range_of(each) or ''}".strip() for each in wrong)
    parts.append(f"not as the profile says: {named}" if wrong else "as the profile says")
    marches = [facts_in(each) for each in list_of(facts.get("marches"))]
    bad = ", ".join(str(range_of(each) or "") for each in marches if each.get("ok") is False)
    if bad:
        parts.append(f"faults in the march over {bad}")
    elif marches:
        parts.append("no fault in the marches")
    roms = [facts_in(each) for each in list_of(facts.get("roms"))]
    if any(each.get("ok") is False for each in roms):
        parts.append("the ROM differs")
    if number_of(facts.get("differing")):
        parts.append("a test program could not be entered")
    return "; ".join(parts)


def fault_text(facts: object) -> str:
    """A fault as the log keeps it: kind, place, chip, how sure."""
    held = facts_in(facts)
    bits = [str(int(number_of(bit))) for bit in list_of(held.get("bits"))]
    where = ranges_text(held.get("where")) or "all RAM"
    bits_named = f" data bit {' and '.join(bits)}" if 0 < len(bits) < 8 else ""
    lines = " ".join(f"A{int(number_of(line))}" for line in list_of(held.get("lines")))
    value = f" at {int(number_of(held['value']))}" if held.get("kind") == "stuck" and "value" in held else ""
    chip = text_of(held.get("chip"))
    named = f", chip {chip} ({text_of(held.get('chip_confidence'))})" if chip else ""
    parts = (text_of(held.get("kind")) + value, lines, f"in {where}{bits_named}")
    return " ".join(part for part in parts if part) + f": {text_of(held.get('confidence'))}{named}"


def details(record: Record, most: int = 64) -> list[tuple[str, str]]:
    """The rest of an entry, as names and texts that may have several lines; at most so many differences."""
    facts = record.facts
    found: list[tuple[str, str]] = []
    if number_of(facts.get("seconds")):
        keys = int(number_of(facts.get("keystrokes")))
        found.append(("effort", f"{duration(float(number_of(facts['seconds'])))}, {count(keys, 'key')}"))
    if facts.get("crc32"):
        found.append(("CRC-32", text_of(facts["crc32"])))
    if facts.get("proven"):
        found.append(("proven", ranges_text(facts["proven"])))
    if number_of(facts.get("noise")):
        found.append(("link", f"{int(number_of(facts['noise']))} bytes read wrong once, then right"))
    differences = [_difference(each) for each in list_of(facts.get("differences"))[:most]]
    if differences:
        more = int(number_of(facts.get("differing"))) - len(differences)
        found.append(("differences", "\n".join(differences + ([f"and {more} more"] if more > 0 else []))))
    if record.command == "survey":
        found += _survey_details(facts)
    faults = [fault_text(each) for each in list_of(facts.get("faults"))]
    if faults and record.command != "diagnose":
        found.append(("faults", "\n".join(faults)))
    for run in (facts, facts_in(facts.get("ran"))):
        if text_of(run.get("output")).strip():
            found.append(("printed", text_of(run["output"]).strip("\n")))
    for trial in map(facts_in, list_of(facts.get("trials"))):
        found.append(
            (text_of(trial.get("program")), text_of(trial.get("says")) or text_of(trial.get("lost")))
        )
    return [(name, text) for name, text in found if text]


def _difference(facts: object) -> str:
    held = facts_in(facts)
    read = text_of(held.get("found")) or "--"
    return (
        f"{text_of(held.get('address'))}  expected {text_of(held.get('expected'))}  found {read}  "
        f"{text_of(held.get('kind'))}"
    ).rstrip()


def _survey_details(facts: Facts) -> list[tuple[str, str]]:
    rows = []
    for each in map(facts_in, list_of(facts.get("stretches"))):
        mirrored = range_of(each.get("of"))
        of = f" of {mirrored}" if mirrored else ""
        rows.append(f"{range_of(each)}  {text_of(each.get('label'))}: {text_of(each.get('state'))}{of}")
    found = [("memory", "\n".join(rows))]
    for rom in map(facts_in, list_of(facts.get("roms"))):
        against = f", against {text_of(rom.get('against'))}" if rom.get("against") else ""
        state = "as it should be" if rom.get("ok") is True else "differs"
        found.append(("ROM", f"{range_of(rom)}  CRC-32 {text_of(rom.get('crc32'))}{against}: {state}"))
    for march in map(facts_in, list_of(facts.get("marches"))):
        bad = len(list_of(march.get("lines")))
        found.append(
            ("march", f"{range_of(march)}: {'no fault' if march.get('ok') is True else f'{bad} faults'}")
        )
    return found
