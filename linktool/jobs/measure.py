"""measure: write a quick pattern to banks of memory, read it, and give the memory back as it was.

Material for a diagnosis, see pattern.py. Banks that show nothing wrong are written once; the others a second
time with every bit turned, which tells a bad cell from a wrong address.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.errors import LINK_FAILED, STOPPED
from linktool.evidence import Evidence
from linktool.jobs.borrow import Borrowed, Readings, attempt_borrowing
from linktool.jobs.report import Effort
from linktool.pattern import Pattern

CLOSE_READINGS = 4
"""How often each byte is read that is to be looked at closely."""


@dataclass(frozen=True)
class Measured:
    """What was written and read. owed: what was there at addresses that could not be given back."""

    machine: str
    port: str
    banks: tuple[Range, ...]
    evidence: Evidence
    owed: Image = field(default_factory=Image)
    stopped: bool = False
    lost: str = ""
    effort: Effort = field(default_factory=Effort)

    @property
    def failed(self) -> int:
        """The exit status where it did not come to its end, else 0."""
        return LINK_FAILED if self.lost else STOPPED if self.stopped else 0


def measure(talk: Conversation, patterns: Sequence[Pattern], port: str = "") -> Talk[Measured]:
    """Never raises for the link."""
    borrowed = Borrowed(talk, "test", total=sum(5 * len(each.first) for each in patterns))
    rounds: list[tuple[Image, Readings]] = []

    def work() -> Talk[None]:
        yield from borrowed.borrow([where for each in patterns for where in each.reads])
        rounds.append((yield from _round(borrowed, patterns, second=False)))
        wrong = [each for each in patterns if each.closely or _bad(each, borrowed, *rounds[0])]
        if wrong:
            borrowed.total += sum(2 * len(each.first) for each in wrong)
            rounds.append((yield from _round(borrowed, wrong, second=True)))
        yield from borrowed.give_back()

    ended = yield from attempt_borrowing(borrowed, "diagnose", work())
    return Measured(
        talk.machine.name,
        port,
        tuple(each.bank.range for each in patterns),
        Evidence("pattern", tuple(borrowed.samples(*each) for each in rounds), borrowed.noise),
        borrowed.owed,
        ended.stopped,
        ended.lost,
        ended.effort,
    )


def _round(borrowed: Borrowed, patterns: Sequence[Pattern], second: bool) -> Talk[tuple[Image, Readings]]:
    """Write one of the two rounds to all banks, then read them all: what was written, and the readings."""
    cells = [cell for each in patterns for cell in (each.second if second else each.first).cells()]
    image = Image.from_cells(cell for cell in cells if cell[0] in borrowed.before)
    wanted = [where for each in patterns for where in each.reads]
    found = yield from borrowed.write_and_read(image, wanted)
    closely = [where for each in patterns for where in each.closely]
    yield from borrowed.read(closely, dict(image.cells()), least=CLOSE_READINGS)
    return image, found


def _bad(pattern: Pattern, borrowed: Borrowed, written: Image, found: Readings) -> bool:
    samples = pattern.bank.part(borrowed.samples(written, found))
    return any(sample.wrong or not sample.steady for sample in samples)
