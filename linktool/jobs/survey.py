"""survey: which pages answer as what, through the monitor, with a byte or two a page; memory is given back.

First everything is read, and told, so that it can be given back; then tags are written everywhere, then all
is read again: only so does memory that answers at two addresses show. A guard cell is tried first: where it
shows at an address whose neighbours the monitor needs, nothing is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.diagnosis import Diagnosis
from linktool.errors import DIFFERENT, DONE, LINK_FAILED, STOPPED
from linktool.evidence import Evidence, Round, Sample, floats
from linktool.jobs.borrow import Borrowed, Readings, attempt_borrowing
from linktool.jobs.report import Effort, Finding
from linktool.map_check import Stretch, kinds_of, stretches
from linktool.page_states import Looked, Page, homes_of, needs_row, page_states
from linktool.probes import PAGE, ROW, Guard, Probe, guard_for, harmless, home_of, tags


@dataclass(frozen=True)
class RomCheck:
    """A ROM read whole. crc32: of its bytes (as zlib computes it). wanted: the known sum. differences: from
    the file. against: the file's name."""

    range: Range
    crc32: int
    wanted: int | None = None
    against: str = ""
    differences: tuple[Finding, ...] = ()

    @property
    def ok(self) -> bool:
        return not self.differences and self.wanted in (None, self.crc32)


@dataclass(frozen=True)
class Change:
    """A page that answers differently than in an earlier survey."""

    number: int
    was: Page
    now: Page


@dataclass(frozen=True)
class MarchLine:
    """A fault a march printed: what the byte should have held, and what it read."""

    address: int
    expected: int
    found: int


@dataclass(frozen=True)
class March:
    """A march over one stretch. ok: it found nothing. text: what it said, where neither is clear."""

    range: Range
    ok: bool
    lines: tuple[MarchLine, ...] = ()
    cut_short: bool = False
    text: str = ""


@dataclass(frozen=True)
class SurveyReport:
    """What answers where.

    pages        every page that was looked at
    stretches    the same, joined and held against the profile
    evidence     what was written and read where the profile has RAM
    diagnoses    what the evidence of RAM, of marches and of ROMs points to, where something is wrong
    owed         what was there at addresses that could not be given back
    roms, marches, changes, compared, saved: what else was asked for; rom_evidence: a ROM against its file
    programs_stood  where deeper tests put their programs and used cells: what was there is lost
    not_entered     bytes that kept a program of theirs from being entered
    """

    machine: str
    port: str
    pages: tuple[Page, ...]
    stretches: tuple[Stretch, ...]
    evidence: Evidence
    diagnoses: tuple[Diagnosis, ...] = ()
    owed: Image = field(default_factory=Image)
    restored: int = 0
    stopped: bool = False
    lost: str = ""
    effort: Effort = field(default_factory=Effort)
    roms: tuple[RomCheck, ...] = ()
    rom_evidence: tuple[Evidence, ...] = ()
    marches: tuple[March, ...] = ()
    programs_stood: tuple[Range, ...] = ()
    not_entered: tuple[Finding, ...] = ()
    changes: tuple[Change, ...] | None = None
    compared: str = ""
    saved: str = ""
    remarks: tuple[str, ...] = ()
    command: str = "survey"

    @property
    def ok(self) -> bool:
        """It came to its end, and all is as the profile says."""
        return self.exit_status == DONE

    @property
    def exit_status(self) -> int:
        if self.lost:
            return LINK_FAILED
        if self.stopped:
            return STOPPED
        wrong = any(each.verdict == "wrong" for each in self.stretches)
        wrong = wrong or not all(rom.ok for rom in self.roms) or not all(march.ok for march in self.marches)
        wrong = wrong or bool(self.not_entered)
        return DIFFERENT if wrong or self.owed or self.evidence.wrong else DONE


def survey(talk: Conversation, probes: tuple[Probe, ...], port: str = "") -> Talk[SurveyReport]:
    """Look at the probes' pages. Never raises for the link."""
    work = _Survey(talk, probes)
    ended = yield from attempt_borrowing(work.borrowed, "survey", work.run())
    pages = work.pages()
    return SurveyReport(
        machine=talk.machine.name,
        port=port,
        pages=pages,
        stretches=stretches(talk.machine, pages),
        evidence=work.evidence(),
        owed=work.borrowed.owed,
        restored=len(work.borrowed.given_back),
        stopped=ended.stopped,
        lost=ended.lost,
        effort=ended.effort,
    )


class _Survey:
    """The work in hand; what is known so far can be asked at any time."""

    def __init__(self, talk: Conversation, probes: tuple[Probe, ...]) -> None:
        self.talk, self.probes = talk, probes
        self.kinds = kinds_of(talk.machine)
        total = sum(len(probe.range) * (5 if probe.use == "write" else 1) for probe in probes)
        self.borrowed = Borrowed(talk, "survey", total=total)
        self.guarded: Round = ()
        self.memory = Image()
        self.before: Readings = {}
        self.homes: Readings = {}
        self.again: Readings = {}
        self.after: Readings = {}
        self.rows: Readings = {}
        self.followed: Readings = {}
        self.tags = Image()
        self.unwritten: dict[int, int] = {}
        self.showing: tuple[int, ...] = ()

    def run(self) -> Talk[None]:
        guard = guard_for(self.talk.machine, self.probes)
        shown: tuple[int, ...] = ()
        if guard:
            shown = yield from self._try_guard(guard)
        yield from self._read_before()
        if guard:
            self._leave_out(guard, shown)
            yield from self._read_homes()
        yield from self._write_and_read()
        yield from self._look_again()
        yield from self._follow()
        yield from self.borrowed.give_back()
        yield from self._read_rows()

    def _try_guard(self, guard: Guard) -> Talk[tuple[int, ...]]:
        """The addresses at which the guard's cell shows too: those that follow it through two values."""
        borrowed, cell = self.borrowed, Range(guard.cell, guard.cell)
        borrowed.total += 2 * len(guard.reads) + 6
        yield from borrowed.borrow([cell])
        if guard.cell not in borrowed.before:
            return guard.reads
        shown = guard.reads
        first = 0x5A if borrowed.before[guard.cell] != 0x5A else 0x2D
        samples: list[Sample] = []
        for value in (first, first ^ 0xFF):
            wanted = [Range(address, address) for address in shown]
            written = Image.from_bytes(guard.cell, bytes([value]))
            found = yield from borrowed.write_and_read(written, [*wanted, cell])
            own = found.get(guard.cell)
            if own is None or own[-1] != value:
                yield from borrowed.give_back()
                return guard.reads  # nothing is known of a cell that does not hold what was written
            # One wrong character must not hide that the cell shows: what is not clearly empty is read again.
            others = [each for each in wanted if not _clear(found.get(each.first), each.first, value)]
            again = yield from borrowed.read(others)
            found.update((a, (*found.get(a, ()), *values)) for a, values in again.items())
            shown = tuple(address for address in shown if value in found.get(address, (value,)))
            samples = [Sample(guard.cell, value, own)]
            samples += [Sample(each, value ^ 0xFF, found[each][-1:]) for each in shown if each in found]
            if not shown:
                break
        yield from borrowed.give_back()
        self.showing = shown
        if shown:
            self.guarded = tuple(s for s in samples if self.kinds[s.address // PAGE] == "ram")
        return shown

    def _read_before(self) -> Talk[None]:
        written = [probe for probe in self.probes if probe.use == "write"]
        memory = [p.range for p in written if any(self.kinds[page] == "ram" for page in p.pages)]
        holes = [p.range for p in written if all(self.kinds[page] != "ram" for page in p.pages)]
        self.before.update((yield from self.borrowed.borrow(memory, holes)))
        looked = [probe.range for probe in self.probes if probe.use == "look"]
        self.before.update((yield from self.borrowed.read(looked, least=2)))

    def _leave_out(self, guard: Guard, shown: Sequence[int]) -> None:
        """Take probes out of the writing that could reach the monitor's memory."""
        kept = []
        for probe in self.probes:
            if probe.use == "write" and not harmless(self.talk.machine, guard, shown, probe):
                for page in probe.pages:
                    self.unwritten[page] = home_of(guard, shown, page * PAGE) // PAGE
                probe = replace(probe, use="look", reason="it shows the monitor's own memory")
            kept.append(probe)
        self.probes = tuple(kept)

    def _read_homes(self) -> Talk[None]:
        """What stands where pages that were left out would have their memory."""
        places = [
            self.unwritten[address // PAGE] * PAGE + address % PAGE
            for probe in self.probes
            for address in range(probe.range.first, probe.range.last + 1)
            if address // PAGE in self.unwritten
        ]
        wanted = sorted({a for a in places if a not in self.before and self.kinds[a // PAGE] == "ram"})
        self.homes = yield from self.borrowed.read([Range(a, a) for a in wanted])

    def _write_and_read(self) -> Talk[None]:
        self.tags = tags(self.probes, self.borrowed.before)
        wanted = [probe.range for probe in self.probes if probe.use == "write"]
        holes = {a: v for a, v in self.borrowed.before.items() if self.kinds[a // PAGE] != "ram"}
        self.after = yield from self.borrowed.write_and_read(self.tags, wanted, holes)
        self.borrowed.given_back.update(a for a, v in holes.items() if set(self.after.get(a, ())) == {v})
        memory = Image.from_cells(cell for cell in self.tags.cells() if self.kinds[cell[0] // PAGE] == "ram")
        self.memory = memory

    def _look_again(self) -> Talk[None]:
        """Read what was left out once more, where the memory it may show holds something else by now."""
        expected, ranges = {}, []
        for probe in self.probes:
            for address in range(probe.range.first, probe.range.last + 1):
                home = self._home(address)
                if home is not None and self.tags.get(home) is not None:
                    expected[address] = self.tags.get(home) or 0
                    ranges.append(Range(address, address))
        unchanged = {address: values[-1] for address, values in self.before.items()}
        self.again = yield from self.borrowed.read(ranges, expected, unchanged=unchanged)

    def _home(self, address: int) -> int | None:
        """The address whose memory an address that was left out may show."""
        page = self.unwritten.get(address // PAGE)
        return None if page is None else page * PAGE + address % PAGE

    def _follow(self) -> Talk[None]:
        """Turn over what stands where other addresses seem to show it: they must follow."""
        homes = {a: home for a, home in homes_of(self._looked(), self.kinds).items() if a != home}
        wanted = sorted(set(homes.values()))
        turned = Image.from_cells((home, (self.tags.get(home) or 0) ^ 0xFF) for home in wanted)
        if not turned:
            return
        yield from self.borrowed.write(turned)
        expected = dict(turned.cells()) | {a: turned.get(home) or 0 for a, home in homes.items()}
        self.followed = yield from self.borrowed.read([Range(a, a) for a in sorted(expected)], expected)

    def _read_rows(self) -> Talk[None]:
        """Whole rows where one byte does not tell ROM from nothing."""
        looked = self._looked()
        places = [a // ROW * ROW for a, _ in self.tags.cells() if needs_row(a, looked)]
        self.rows = yield from self.borrowed.read([Range(each, each + ROW - 1) for each in places])

    def evidence(self) -> Evidence:
        """What was written and read where the profile has RAM. Pages that show outside of it as well were
        written over with tags meant for there, which says nothing of the memory."""
        shared = {
            page.of for page in self.pages() if page.state == "mirror" and self.kinds[page.number] != "ram"
        }
        samples = self.borrowed.samples(self.memory, self.after)
        memory = tuple(
            s for s in samples if self.kinds[s.address // PAGE] == "ram" and s.address // PAGE not in shared
        )
        rounds = [each for each in (self.guarded, memory) if each]
        return Evidence("survey", tuple(rounds), self.borrowed.noise)

    def _looked(self) -> Looked:
        settled = self.borrowed.settled
        looked = (self.before, self.after, self.rows, self.followed)
        before, after, rows, followed = (settled(each) for each in looked)
        return Looked(before, self.tags, after, rows, followed)

    def pages(self) -> tuple[Page, ...]:
        if not self.after and any(probe.use == "write" for probe in self.probes):
            return ()
        found = page_states(self.probes, self._looked(), self.kinds)
        return tuple(self._left_out(page) if page.number in self.unwritten else page for page in found)

    def _left_out(self, page: Page) -> Page:
        """A page that was not written because it may reach the monitor's memory."""
        addresses = [a for a in self.before if a // PAGE == page.number]
        shows = [self._shows(address) for address in addresses]
        seen = any(address // PAGE == page.number for address in self.showing)
        if True in shows or (seen and False not in shows):
            return Page(page.number, "mirror", self.unwritten[page.number], page.shown, "not written")
        return Page(page.number, "not probed", reason="it may show the monitor's own memory")

    def _shows(self, address: int) -> bool | None:
        """Whether an address that was left out shows its home: it follows what is written there, or, where
        nothing may be, reads the same, and not as an empty bus does. None where that cannot be said."""
        home = self._home(address)
        here = self.before.get(address, ())
        if home is None or not here:
            return None
        if self.tags.get(home) is not None:
            there, now = self.after.get(home, ()), self.again.get(address, ())
            return now[-1] == there[-1] if there and now and there[-1] != here[-1] else None
        there = self.homes.get(home, ())
        if not there:
            return None
        if here[-1] != there[-1]:
            return False
        return True if self.showing and not floats(address, here[-1]) else None


def _clear(values: tuple[int, ...] | None, address: int, value: int) -> bool:
    """Whether one look is enough: it shows the value, or looks as if nothing were there."""
    return values is not None and (values[-1] == value or floats(address, values[-1]))
