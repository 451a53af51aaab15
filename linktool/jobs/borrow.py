"""Memory borrowed for a test: what was there is read and told first, then written over, and given back.

Rules: nothing is written before what was there is known, and told in a note ("borrowed"), so that a caller can
put it where a crash cannot reach it. What was there is read twice, because nothing else could show a wrong
reading of it. Given back means typed and read back; what could not be is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from formats.image import Image, Range, Segment
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.errors import NoAnswer
from linktool.evidence import Sample
from linktool.plan import Line, next_line

LINE_TRIES = 25
"""How often one line is typed before the link counts as useless."""
READINGS = 6
"""How often a byte is read before it counts as unsteady."""

Readings = dict[int, tuple[int, ...]]
"""Address -> every reading of it, in order."""


@dataclass
class Borrowed:
    """What a test holds. before: what was there. written: addresses that a line was sent to. noise: readings
    that came wrong once. phase, done, total: for progress, in bytes."""

    talk: Conversation
    phase: str
    total: int = 0
    done: int = 0
    before: dict[int, int] = field(default_factory=dict)
    written: set[int] = field(default_factory=set)
    given_back: set[int] = field(default_factory=set)
    noise: int = 0

    @property
    def owed(self) -> Image:
        """What was there at every address that was written and is not proven to be as before."""
        return Image.from_cells(
            (address, self.before[address]) for address in sorted(self.written - self.given_back)
        )

    def borrow(self, wanted: Sequence[Range], holes: Sequence[Range] = ()) -> Talk[Readings]:
        """Read what is there, twice, and tell it; in `holes`, where no memory should be, only once.
        Addresses that never read the same are left out of what may be written."""
        found = yield from self.read(wanted, twice=True)
        once = yield from self.read(holes)
        self.before.update((address, values[-1]) for address, values in found.items() if _settled(values))
        self.before.update((address, values[-1]) for address, values in once.items())
        found.update(once)
        image = Image.from_cells(self.before.items())
        yield from self.talk.note("borrowed", image=image)
        return found

    def write(self, image: Image) -> Talk[None]:
        """Type bytes; each address must have been borrowed. NoAnswer when a line never comes through."""
        talk, upcoming, failures = self.talk, None, 0
        parts = image.segments
        for number, segment in enumerate(parts):
            at, continued = segment.first, False
            while at <= segment.last:
                line = upcoming or next_line(talk.machine, segment, at, continued=continued)
                upcoming = self._following(parts, number, line) if talk.error_rate < CALM else None
                self.written.update(range(line.range.first, line.range.last + 1))
                answer = yield from talk.line(
                    line.text, line.answer, upcoming.text if upcoming else "", line.bytes_at
                )
                if answer is None:
                    failures += 1
                    upcoming, continued = None, False
                    if failures == LINE_TRIES:
                        raise NoAnswer(f"the line for {line.range} came back wrong {failures} times")
                    continue
                failures, continued = 0, True
                at = line.range.last + 1
                yield from self.progress(len(line.data))

    def _following(self, parts: Sequence[Segment], number: int, line: Line) -> Line | None:
        segment, at = parts[number], line.range.last + 1
        if at <= segment.last:
            return next_line(self.talk.machine, segment, at, continued=True)
        if number + 1 == len(parts):
            return None
        return next_line(self.talk.machine, parts[number + 1], parts[number + 1].first)

    def read(
        self,
        wanted: Sequence[Range],
        expected: Mapping[int, int] | None = None,
        *,
        twice: bool = False,
        unchanged: Mapping[int, int] | None = None,
    ) -> Talk[Readings]:
        """Read the ranges. A byte that is not as expected is read again, unless it is as in `unchanged`;
        where the link has shown errors, or `twice` says so, every byte is. Addresses that never came whole
        are missing from the result."""
        expected, unchanged = expected or {}, unchanged or {}
        found: Readings = {}
        lines = [speech.examine_line(self.talk.dialect, where) for where in wanted]
        for number, where in enumerate(wanted):
            following = lines[number + 1] if number + 1 < len(lines) else ""
            reading = yield from self.talk.examine(where, lines[number] if twice else following)
            seen: dict[int, list[int]] = {a: [] for a in range(where.first, where.last + 1)}
            for again in range(1 + READINGS):
                for address, value in reading.image.cells():
                    seen[address].append(value)
                if again == READINGS or all(
                    _enough(values, expected.get(a), unchanged.get(a), self._trust(twice))
                    for a, values in seen.items()
                ):
                    break
                reading = yield from self.talk.examine(where, following if twice and not again else "")
            found.update((address, tuple(values)) for address, values in seen.items() if values)
            yield from self.progress(len(where))
        return found

    def _trust(self, twice: bool) -> int:
        """How many equal readings make a byte known."""
        return 2 if twice or self.talk.error_rate >= CALM else 1

    def samples(self, written: Image, found: Readings) -> tuple[Sample, ...]:
        """What was written against what was read. A byte that came wrong once and then right three times is
        the link's, if the link has shown other errors too; else it is the cell's."""
        samples = []
        for address, value in written.cells():
            readings = found.get(address)
            if not readings:
                continue
            wrong = [each for each in readings if each != value]
            if wrong and len(wrong) < len(readings) and self._came_by_link(readings, value):
                self.noise += 1
                readings = (value,)
            samples.append(Sample(address, value, readings))
        return tuple(samples)

    def _came_by_link(self, readings: tuple[int, ...], value: int) -> bool:
        return self.talk.counts.wrong > 0 and readings[-3:] == (value,) * 3

    def give_back(self) -> Talk[None]:
        """Type what was there and prove it, trying three times. What is left is in `owed`."""
        for _attempt in range(3):
            image = self.owed
            if not image:
                return
            yield from self.write(image)
            found = yield from self.read(_stretches(image), dict(image.cells()))
            self.given_back.update(a for a, v in image.cells() if found.get(a, ())[-1:] == (v,))

    def progress(self, count: int) -> Talk[None]:
        """Tell how far it is."""
        self.done = min(self.total, self.done + count)
        yield from self.talk.note("progress", phase=self.phase, done=self.done, total=self.total)


def _settled(values: tuple[int, ...]) -> bool:
    return len(values) > 1 and values[-1] == values[-2]


def _enough(values: list[int], expected: int | None, unchanged: int | None, trust: int) -> bool:
    """Whether the readings of one byte will do."""
    if not values:
        return False
    if len(set(values)) == 1:
        foreseen = expected in (None, values[0]) or values[0] == unchanged
        return len(values) >= (trust if foreseen else 2)
    if expected is not None:
        return values[-3:] == [expected] * 3
    return len(values) > 2 and values[-1] == values[-2] == values[-3]


def _stretches(image: Image) -> list[Range]:
    """The image's segments in rows of one examine line each."""
    found = []
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            last = min(at | 0xFF, segment.last)
            found.append(Range(at, last))
            at = last + 1
    return found
