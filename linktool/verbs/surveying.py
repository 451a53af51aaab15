"""survey."""

from __future__ import annotations

import os
import re
import zlib
from dataclasses import dataclass, replace

from formats import files
from formats.errors import FormatError
from formats.image import Image, Range
from linktool.bench import Bench
from linktool.commands import Values
from linktool.diagnosis import diagnose
from linktool.errors import RefusedError, UsageError
from linktool.evidence import banks_of, from_images
from linktool.jobs.read import read as read_job
from linktool.jobs.report import Effort, Finding
from linktool.jobs.resident_naming import joined
from linktool.jobs.survey import Change, March, RomCheck, SurveyReport
from linktool.jobs.survey import survey as survey_job
from linktool.map_check import stretches
from linktool.probes import PAGE, coarse_pages, probes_for
from linktool.saved_survey import Saved, changed, parse, to_text
from linktool.verbs import deep
from linktool.verbs.keeping import hold_kept, keeper_for
from linktool.verbs.transfer import need_echo


@dataclass(frozen=True)
class _Rom:
    """A ROM to be read whole: what it should hold, or the sum it should have."""

    range: Range
    image: Image | None = None
    name: str = ""
    crc32: int | None = None


class _Spent:
    """What the talk spends from here on."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._before = self._now()

    def _now(self) -> tuple[int, int, float]:
        talk = self._bench.talk
        return (talk.counts.keystrokes, talk.counts.lines, talk.now) if talk else (0, 0, 0.0)

    def added_to(self, effort: Effort) -> Effort:
        """The effort, and what was spent since."""
        keystrokes, lines, seconds = (n - b for n, b in zip(self._now(), self._before, strict=True))
        return replace(
            effort,
            keystrokes=effort.keystrokes + int(keystrokes),
            lines=effort.lines + int(lines),
            seconds=effort.seconds + seconds,
        )


def survey(bench: Bench, values: Values) -> SurveyReport:
    """Look at memory. Everything that can be refused is refused before the port is opened."""
    bench.need_port()
    need_echo(bench)
    ranges = tuple(values["range"] or ())
    save, before = values["save"], _earlier(bench, values["compare"])
    if save:
        files.refuse_existing(save, values["overwrite"], "--overwrite")
    roms = _roms(bench, values)
    probes = probes_for(bench.machine, _pages(bench, ranges, values["all"]), touch_io=values["touch_io"])
    keeper = keeper_for(bench, "survey")
    report = hold_kept(bench, lambda talk, port: survey_job(talk, probes, port), keeper)
    keeper.end(finished=not report.owed)
    spent = _Spent(bench)
    if values["deep"] and not (report.lost or report.stopped):
        report = _deeper(bench, report, ranges)
    for rom in roms:
        if not (report.lost or report.stopped):
            report = _with_rom(bench, report, rom)
    report = replace(
        report,
        effort=spent.added_to(report.effort),
        diagnoses=tuple(
            diagnose(bench.machine, each) for each in (report.evidence, *report.rom_evidence) if each.wrong
        ),
    )
    if report.pages and before:
        changes = tuple(Change(now.number, was, now) for was, now in changed(before.pages, report.pages))
        taken = f"{values['compare']} of {before.taken:%Y-%m-%d %H:%M}"
        report = replace(report, changes=changes, compared=taken)
    if report.pages and save:
        saved = Saved(bench.machine.name, bench.now(), report.pages)
        files.save(save, to_text(saved).encode("utf-8"), force=values["overwrite"])
        report = replace(report, saved=save)
    return report


def _pages(bench: Bench, ranges: tuple[Range, ...], everything: bool) -> tuple[int, ...]:
    if everything:
        return tuple(range(0x100))
    if not ranges:
        return coarse_pages(bench.machine)
    return tuple(sorted({page for r in ranges for page in range(r.first // PAGE, r.last // PAGE + 1)}))


def _earlier(bench: Bench, path: str | None) -> Saved | None:
    if path is None:
        return None
    saved = parse(files.read_bytes(path), path)
    if saved.machine != bench.machine.name:
        raise UsageError(f"{path} is a survey of machine {saved.machine}, not of {bench.machine.name}")
    return saved


# ---- ROM ----


def _roms(bench: Bench, values: Values) -> tuple[_Rom, ...]:
    if values["rom"] and values["rom_crc32"]:
        raise UsageError("--rom and --rom-crc32 are two ways to say what the ROM should hold", "Give one")
    banks = [bank.range for bank in banks_of(bench.machine) if bank.kind == "rom"]
    if values["rom_crc32"]:
        text = values["rom_crc32"].removeprefix("0x").removeprefix("$")
        if not re.fullmatch(r"[0-9A-Fa-f]{1,8}", text):
            raise UsageError(f"{values['rom_crc32']!r} is no CRC-32", "Give up to eight hex digits: CBF43926")
        if len(banks) != 1:
            raise UsageError(
                f"machine {bench.machine.name} has {len(banks)} ROMs in its profile, not one",
                "Give --rom FILE, whose addresses tell which is meant",
            )
        return (_Rom(banks[0], crc32=int(text, 16)),)
    if not values["rom"]:
        return ()
    image = _rom_image(values["rom"], values["at"], banks)
    registers = [
        area
        for area in bench.machine.areas
        for s in image.segments
        if area.kind == "io" and area.range.overlap(s.range)
    ]
    if registers:
        raise RefusedError(f"{values['rom']} covers {registers[0].range}, {registers[0].label}")
    return tuple(_Rom(segment.range, image.slice(segment.range), values["rom"]) for segment in image.segments)


def _rom_image(path: str, at: int | None, banks: list[Range]) -> Image:
    """The file; where it holds no addresses, and a ROM of the profile has its length, at that ROM."""
    try:
        return files.load(path, at=at).image
    except FormatError:
        fitting = [bank for bank in banks if os.path.isfile(path) and os.path.getsize(path) == len(bank)]
        if at is not None or len(fitting) != 1:
            raise
        return files.load(path, at=fitting[0].first).image


def _with_rom(bench: Bench, report: SurveyReport, rom: _Rom) -> SurveyReport:
    reading = bench.hold(lambda talk, port: read_job(talk, (rom.range,), port))
    if reading.lost or reading.stopped:
        return replace(report, lost=reading.lost, stopped=reading.stopped)
    wanted = rom.image.difference(reading.image) if rom.image else ()
    differences = tuple(Finding(d.address, d.expected or 0, d.found, "memory") for d in wanted)
    crc32 = zlib.crc32(reading.image.segments[0].data)
    checked = RomCheck(rom.range, crc32, rom.crc32, rom.name, differences)
    held = (from_images("rom", rom.image, reading.image),) if rom.image else ()
    return replace(report, roms=(*report.roms, checked), rom_evidence=(*report.rom_evidence, *held))


# ---- deeper ----


def _deeper(bench: Bench, report: SurveyReport, ranges: tuple[Range, ...]) -> SurveyReport:
    """The page program, then marches. What a program that failed had to say becomes a remark."""
    marches: list[March] = []
    banks = deep.Banks(bench.machine, [each.range for each in report.stretches if each.verdict == "wrong"])
    try:
        if not ranges:
            report = _with_pages(bench, report, banks)
        for where in deep.stretches(bench, ranges or (Range(0, 0xFFFF),)):
            try:
                marches += deep.march(bench, where, banks)
            except RefusedError as refused:
                report = _remark(report, f"no march over {where}: {refused}")
    except deep.Failed as failed:
        entered = failed.trial.entered
        lost = failed.trial.lost or (entered.lost if entered else "")
        stopped = failed.trial.stopped or bool(entered and entered.stopped)
        report = replace(report, lost=lost, stopped=stopped)
        if entered and entered.differences:
            wrong = entered.differences[0]
            report = _remark(
                report,
                f"{failed.trial.name} could not be entered: {len(entered.differences)} bytes differ, the "
                f"first at {wrong.address:04X}; deeper tests need some memory that works",
            )
    report = replace(
        report,
        marches=tuple(marches),
        programs_stood=joined(banks.stood),
        not_entered=tuple(banks.differences),
    )
    if any(not each.ok for each in marches) and not report.evidence.wrong:
        report = replace(report, evidence=deep.evidence_of(marches))
    return report


def _with_pages(bench: Bench, report: SurveyReport, banks: deep.Banks) -> SurveyReport:
    """Add what the page program says of the pages that were not looked at before."""
    known = {page.number for page in report.pages}
    try:
        found = deep.pages(bench, banks)
    except RefusedError as refused:
        return _remark(report, str(refused))
    added = [page for page in found if page.number not in known]
    pages = tuple(sorted((*report.pages, *added), key=lambda page: page.number))
    return replace(report, pages=pages, stretches=stretches(bench.machine, pages))


def _remark(report: SurveyReport, text: str) -> SurveyReport:
    return replace(report, remarks=(*report.remarks, text))
