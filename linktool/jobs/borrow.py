"""Memory borrowed for a test: what was there is read and told first, then written over, and given back.

Rules: nothing is written before what was there is known, and told in a note ("borrowed"), so that a caller
can put it where a crash cannot reach it. What was there is read twice, because nothing else could show a
wrong reading of it. Given back means typed and read back; what could not be is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from formats.image import Image, Range, Segment
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.errors import NoAnswer
from linktool.evidence import Sample, floats
from linktool.jobs.attempt import Ended, attempt
from linktool.packed_image import pack
from linktool.plan import Line, next_line

LINE_TRIES = 25
"""How often one line is typed before the link counts as useless."""
READINGS = 6
"""How often a byte is read before it counts as unsteady."""
IN_VAIN = 2
"""Readings in a row, each asked for many times, of which nothing came, before the link counts as useless."""
CLOSELY = 8
"""How often a byte is read more that came otherwise once."""
TURNS = 3
"""How often what reads wrong is written at most, where the link shows faults."""

Readings = dict[int, tuple[int, ...]]
"""Address -> every reading of it, in order."""


@dataclass
class Borrowed:
    """What a test holds. before: what was there. written: addresses that a line was sent to. strays: by
    address, the bits in which single readings differed from most of them while nothing was written. phase,
    done, total: for progress, in bytes."""

    talk: Conversation
    phase: str
    total: int = 0
    done: int = 0
    before: dict[int, int] = field(default_factory=dict)
    written: set[int] = field(default_factory=set)
    given_back: set[int] = field(default_factory=set)
    strays: dict[int, list[int]] = field(default_factory=dict)

    @property
    def owed(self) -> Image:
        """What was there at every address that was written and is not proven to be as before."""
        return Image.from_cells(
            (address, self.before[address]) for address in sorted(self.written - self.given_back)
        )

    def borrow(self, wanted: Sequence[Range], holes: Sequence[Range] = ()) -> Talk[Readings]:
        """Read what is there, twice, and tell it; in `holes`, where no memory should be, only once where it
        looks like none. Addresses that never read the same are left out of what may be written."""
        found = yield from self.read(wanted, least=2)
        once = yield from self.read(holes)
        driven = [where for where in holes if not all(floats(a, once[a][-1]) for a in _where_in(where, once))]
        found.update((yield from self.read(driven, least=2)))
        once = {address: values for address, values in once.items() if address not in found}
        self.before.update((address, values[-1]) for address, values in found.items() if _settled(values))
        self.before.update((address, values[-1]) for address, values in once.items())
        found.update(once)
        yield from self.talk.note("borrowed", image=pack(Image.from_cells(self.before.items())))
        return found

    def write(self, image: Image) -> Talk[None]:
        """Tell it, and type bytes; each address must have been borrowed. NoAnswer when a line never comes
        through."""
        yield from self.talk.note("borrowing", image=pack(image))
        yield from self._type(image)

    def write_and_read(
        self, image: Image, wanted: Sequence[Range], unchanged: Mapping[int, int] | None = None
    ) -> Talk[Readings]:
        """Write all of `image`, then read all of `wanted`, as `read` does. Where a fault of the link shows
        meanwhile, a line may not have arrived though an answer came: a reset can look like one. So what reads
        wrong then is written once more and all is read again, before memory is blamed."""
        expected, apart = dict(image.cells()), unchanged or {}
        wrong_before = self.talk.counts.wrong
        yield from self.write(image)
        for turn in range(TURNS):
            found = yield from self.read(wanted, expected, unchanged=apart)
            doubtful = [cell for cell in image.cells() if _doubtful(*cell, found, apart)]
            if turn == TURNS - 1 or not doubtful or self.talk.counts.wrong == wrong_before:
                break
            wrong_before = self.talk.counts.wrong
            yield from self._type(Image.from_cells(doubtful))
        return found

    def _type(self, image: Image) -> Talk[None]:
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
        least: int = 1,
        unchanged: Mapping[int, int] | None = None,
    ) -> Talk[Readings]:
        """Read the ranges, each `least` times, once more where the link has shown errors. A byte that is not
        as expected is read again, unless it is as in `unchanged`. Addresses that never came whole are missing
        from the result."""
        expected, unchanged = expected or {}, unchanged or {}
        found: Readings = {}
        in_vain = 0
        lines = [speech.examine_line(self.talk.dialect, where) for where in wanted]
        for number, where in enumerate(wanted):
            following = lines[number + 1] if number + 1 < len(lines) else ""
            seen: dict[int, list[int]] = {a: [] for a in range(where.first, where.last + 1)}
            for turn in range(1, least + READINGS + 1):
                ahead = lines[number] if turn < least else following if turn == least else ""
                reading = yield from self.talk.examine(where, ahead)
                in_vain = 0 if reading.image else in_vain + 1
                if in_vain == IN_VAIN:
                    raise NoAnswer(f"{where} could not be read: no answer came whole")
                for address, value in reading.image.cells():
                    seen[address].append(value)
                trust = least + (self.talk.error_rate >= CALM)
                if all(_enough(v, expected.get(a), unchanged.get(a), trust) for a, v in seen.items()):
                    break
            for address, values in seen.items():
                if len(set(values)) > 1 and self.talk.error_rate < CALM:
                    yield from self._look_closely(address, values)
                if values:
                    found[address] = tuple(values)
                    self._watch(address, found[address])
            yield from self.progress(len(where))
        return found

    def _look_closely(self, address: int, values: list[int]) -> Talk[None]:
        """Read a byte that came otherwise once, on a link without errors so far, until it does so again in
        the same bits, or long enough to say that it was the link."""
        for _reading in range(CLOSELY):
            if _repeated(_strays(values), 2):
                return
            reading = yield from self.talk.examine(Range(address, address))
            values += [value for _, value in reading.image.cells()]

    def _watch(self, address: int, values: tuple[int, ...]) -> None:
        differing = _strays(values)
        if differing:
            self.strays.setdefault(address, []).extend(differing)

    @property
    def changing(self) -> dict[int, int]:
        """Bits that changed by themselves, by address. A single stray reading counts as the link's; two in
        the same bits do not, on a link with errors three."""
        times = 2 if self.talk.error_rate < CALM else 3
        found: dict[int, int] = {}
        for address, masks in self.strays.items():
            for mask in _repeated(masks, times):
                found[address] = found.get(address, 0) | mask
        return found

    def settled(self, found: Readings) -> Readings:
        """Readings without the strays that count as the link's."""
        changing = self.changing
        return {a: values if a in changing else (_mostly(values),) for a, values in found.items()}

    @property
    def noise(self) -> int:
        """Bytes that read wrong by the link."""
        return len(self.strays) - len(self.changing)

    def samples(self, written: Image, found: Readings) -> tuple[Sample, ...]:
        """What was written against what was read at last. A byte that changed by itself while it was borrowed
        counts as having read both ways; so does one that could not be borrowed because it never held still.
        To be asked when all reading is done."""
        changing = self.changing
        samples = [
            Sample(address, value, (value ^ changing[address], value))
            if address in changing
            else Sample(address, value, (_mostly(found[address]),))
            for address, value in written.cells()
            if address in changing or found.get(address)
        ]
        never_still = (a for a in changing if a not in self.before)
        return (*samples, *(Sample(address, 0, (0, changing[address])) for address in never_still))

    def give_back(self) -> Talk[None]:
        """Type what was there and prove it, trying three times. What is left is in `owed`."""
        for _attempt in range(3):
            image = self.owed
            if not image:
                return
            yield from self._type(image)
            found = yield from self.read(_stretches(image), dict(image.cells()))
            self.given_back.update(a for a, v in image.cells() if found.get(a, ())[-1:] == (v,))

    def progress(self, count: int) -> Talk[None]:
        """Tell how far it is."""
        self.done = min(self.total, self.done + count)
        yield from self.talk.note("progress", phase=self.phase, done=self.done, total=self.total)


def _where_in(where: Range, readings: Readings) -> list[int]:
    """The addresses of the range that came whole."""
    return [address for address in range(where.first, where.last + 1) if address in readings]


def _doubtful(address: int, value: int, found: Readings, unchanged: Mapping[int, int]) -> bool:
    """Whether a byte reads wrong that should hold `value`; an empty place that looks as before does not."""
    if address not in found or found[address][-1] == value:
        return False
    read = found[address][-1]
    return not (read == unchanged.get(address) and floats(address, read))


def _mostly(values: Sequence[int]) -> int:
    """What was read most often; of those read as often, the last."""
    return max(reversed(values), key=values.count)


def _strays(values: Sequence[int]) -> list[int]:
    """The bits in which single readings differ from what was read most often."""
    usual = _mostly(values)
    return [value ^ usual for value in values if value != usual]


def _repeated(masks: list[int], times: int) -> set[int]:
    """Those that stand there so many times."""
    return {mask for mask in masks if masks.count(mask) >= times}


def _settled(values: tuple[int, ...]) -> bool:
    return len(values) > 1 and values[-1] == values[-2]


def _enough(values: list[int], expected: int | None, unchanged: int | None, trust: int) -> bool:
    """Whether the readings of one byte will do."""
    if not values:
        return False
    if len(set(values)) == 1:
        foreseen = expected in (None, values[0]) or values[0] == unchanged
        return len(values) >= (trust if foreseen else max(trust, 2))
    return len(values) > 3 and values[-1] == values[-2] == values[-3]


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


def attempt_borrowing(borrowed: Borrowed, command: str, work: Talk[None]) -> Talk[Ended]:
    """An attempt that tests memory: where the user stops it, what was borrowed is given back. Notes
    "given back" when nothing is owed at its end."""

    def put_back(talk: Conversation) -> Talk[None]:
        yield from talk.leave_line()
        yield from borrowed.give_back()

    ended = yield from attempt(borrowed.talk, command, work, at_stop=put_back)
    if not borrowed.owed:
        yield from borrowed.talk.note("given back")
    return ended
