"""Surveys as text and as JSON; what resume gave back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from formats.image import Range, hex4
from linktool.cautions import TOUCHING
from linktool.jobs.resume import GiveBackReport
from linktool.jobs.survey import Change, March, RomCheck, SurveyReport
from linktool.log_facts import facts_of, ranges_facts
from linktool.map_check import Stretch
from linktool.maps import LOOKS, of_pages
from linktool.render.data import Data, data
from linktool.render.diagnosis import diagnosis_lines, owed_lines
from linktool.render.maps import text_lines
from linktool.render.text import LISTED, count, effort_lines, finding_lines, how_lost, lines, listed

_EXPECTED = {"ram": "RAM", "rom": "ROM", "io": "I/O", "none": "nothing"}
_ANSWERS = {
    "ram": "answers as RAM",
    "in use": "is the monitor's own RAM",
    "faulty": "keeps only some bits",
    "rom": "reads, but does not take what is written",
    "io": "looks like I/O: it changes by itself, or takes only some bits",
    "floating": "does not answer",
    "skipped": "was not touched",
}


def stretch_line(stretch: Stretch) -> str:
    """One stretch: "RAM bank 2 (2000-2FFF) does not answer; expected RAM"."""
    expected = _EXPECTED[stretch.expected]
    if stretch.state == "mirror":
        answers = f"shows the memory at {stretch.of}" if stretch.of else "shows other memory"
    elif stretch.state == "faulty":
        answers = f"keeps only some bits, in {stretch.faulty} of {count(stretch.probed, 'page')} tried"
    elif stretch.state == "io" and stretch.expected == "io":
        answers = "was read"
    elif stretch.state == "rom" and stretch.expected == "rom":
        answers = "answers as ROM"
    else:
        answers = _ANSWERS[stretch.state]
    answers += f" ({stretch.unsure})" if stretch.unsure else ""
    mark = "! " if stretch.verdict == "wrong" else ""
    wanted = "" if stretch.verdict == "as expected" else f"; expected {expected}"
    pages = "" if stretch.state == "faulty" else f" ({count(stretch.probed, 'page')} tried)"
    return f"{mark}{stretch.label} ({stretch.range}) {answers}{wanted}{pages}."


def rom_lines(rom: RomCheck) -> list[str]:
    size = count(len(rom.range), "byte")
    if rom.differences:
        wrong = len(rom.differences)
        differ = f"{wrong:,} of {size} {'differs' if wrong == 1 else 'differ'}"
        head = f"! ROM {rom.range}: {differ} from {rom.against}; CRC-32 {rom.crc32:08X}."
        return [head, *finding_lines(rom.differences)]
    if rom.wanted not in (None, rom.crc32):
        return [f"! ROM {rom.range}: CRC-32 is {rom.crc32:08X}, expected {rom.wanted:08X}."]
    if rom.against:
        return [f"Proven: ROM {rom.range} is the same as {rom.against}, {size}; CRC-32 {rom.crc32:08X}."]
    agrees = ", as expected" if rom.wanted is not None else ""
    return [f"ROM {rom.range}: {size} read, CRC-32 {rom.crc32:08X}{agrees}."]


def change_lines(changes: Sequence[Change]) -> list[str]:
    """What changed; neighbouring pages that changed alike in one line."""
    groups: list[list[Change]] = []
    for change in changes:
        last = groups[-1][-1] if groups else None
        if last and change.number == last.number + 1 and _words(change) == _words(last):
            groups[-1].append(change)
        else:
            groups.append([change])
    found = []
    for group in groups:
        where = Range(group[0].number * 256, group[-1].number * 256 + 255)
        was, now = _words(group[0])
        found.append(f"{where}: was {was}, is now {now}.")
    return found


def _words(change: Change) -> tuple[str, str]:
    return LOOKS[change.was.state].word, LOOKS[change.now.state].word


def march_lines(march: March) -> list[str]:
    """What a march found, each line once."""
    times = Counter(march.lines)
    result = [f"! March over {march.range}: {march.text or 'faults'}."]
    for line, number in list(times.items())[:LISTED]:
        again = f"  {number} times" if number > 1 else ""
        result.append(f"! {hex4(line.address)}  expected {line.expected:02X}  found {line.found:02X}{again}")
    if len(times) > LISTED:
        result.append(f"! and {len(times) - LISTED} more")
    if march.cut_short:
        result.append(f"  It gave up after {len(march.lines)} lines: there may be more.")
    return result


@lines.register
def _(report: SurveyReport) -> list[str]:
    result = [f"note: {remark}" for remark in report.remarks]
    if report.lost:
        result.append(f"! {how_lost(report.lost)}.")
    elif report.stopped:
        result.append("Stopped.")
    if report.pages:
        drawn = of_pages(f"machine {report.machine}, page by page", report.pages)
        result += [*text_lines(drawn, empty_rows=False), ""]
    result += [stretch_line(stretch) for stretch in report.stretches]
    for rom in report.roms:
        result += rom_lines(rom)
    if report.not_entered:
        result.append("! A test program could not be entered because of these bytes:")
        result += finding_lines(report.not_entered)
    for march in report.marches:
        if march.ok:
            result.append(f"March over {march.range}: no fault.")
            continue
        result += march_lines(march)
    if report.changes is not None:
        result += _change_lines(report)
    for diagnosis in report.diagnoses:
        result += ["", *diagnosis_lines(diagnosis)]
    result += _memory_lines(report)
    if report.saved:
        result.append(f"Saved to {report.saved}.")
    return result + effort_lines(report.effort)


def _change_lines(report: SurveyReport) -> list[str]:
    changes = report.changes or ()
    head = f"Compared with {report.compared}: {count(len(changes), 'page')} changed."
    return [head, *change_lines(changes), TOUCHING]


def _memory_lines(report: SurveyReport) -> list[str]:
    if report.owed:
        return owed_lines(report.owed.segments)
    if report.programs_stood:
        marched = "in the marched ranges, and " if report.marches else ""
        stood = f"{marched}where the test programs stood ({listed(report.programs_stood)})"
        return [f"What was {stood}, is lost; the rest of memory is as it was before."]
    if report.restored:
        return ["Memory is as it was before: every byte tried was put back and read back."]
    return []


@data.register
def _(report: SurveyReport) -> Data:
    facts = facts_of(report) or {}
    for name in ("memory", "rom_memory", "status"):
        facts.pop(name, None)
    result: Data = {"command": "survey", "machine": report.machine, "port": report.port, **facts}
    result.setdefault("stopped", False)
    result.setdefault("lost", "")
    if report.changes is not None:
        result["changes"] = [
            {"page": f"{c.number:02X}", "was": c.was.state, "now": c.now.state} for c in report.changes
        ]
    result["saved"] = report.saved
    result["warnings"] = list(report.remarks)
    return result


@lines.register
def _(report: GiveBackReport) -> list[str]:
    result = []
    if report.lost:
        result.append(f"! {how_lost(report.lost)}.")
    elif report.stopped:
        result.append("Stopped.")
    back = sum(len(each) for each in report.restored)
    result.append(
        f"Of the memory that {report.test} had written over, {count(back, 'byte')} put back and read back, "
        f"{report.unchanged} as before already."
    )
    if report.left:
        result.append(f"Left alone, because something else stands there by now: {listed(report.left)}.")
    return [*result, *owed_lines(report.owed.segments), *effort_lines(report.effort)]


@data.register
def _(report: GiveBackReport) -> Data:
    return {
        "command": "resume",
        "ok": report.ok,
        "test": report.test,
        "machine": report.machine,
        "port": report.port,
        "restored": ranges_facts(report.restored),
        "unchanged": report.unchanged,
        "left": ranges_facts(report.left),
        "owed": ranges_facts(segment.range for segment in report.owed.segments),
        "stopped": report.stopped,
        "lost": report.lost,
    }
