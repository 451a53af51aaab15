"""The verbs' own bench on the simulated cable: a session plays `survey`, `diagnose` and `resume` whole."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from linktool.actions import Note
from linktool.bench import Bench, Job
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.exchange import Trace
from linktool.folders import Folders
from linktool.packed_image import unpack
from tests.simulation.cable import Cable
from tests.simulation.plan import Step

R = TypeVar("R")
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
PLAIN = {"touch_io": False, "rom": None, "rom_crc32": None, "at": None, "save": None, "compare": None}


class CableBench(Bench):
    """A bench whose port is the cable. written: what a test has told it writes, by address. before_writing:
    called each time a test has told what was there, before it writes."""

    def __init__(self, talk: Conversation, cable: Cable, folder: Path, trace: Trace | None) -> None:
        super().__init__(Folders(folder, folder, folder), port="board:", quiet=True)
        self.adopt(talk.machine)
        self._talk = talk
        self._cable, self._listen_in = cable, trace
        self.written: dict[int, set[int]] = {}
        self.before_writing: Callable[[], None] = lambda: None

    def hold(self, job: Job[R], listen: Callable[[Note], None] | None = None) -> R:
        """As the true one, without a wait for real interrupts."""

        def noted(note: Note, at: float) -> None:
            if note.topic == "borrowed":
                self.before_writing()
            elif note.topic == "borrowing":
                for address, value in unpack(note.facts["image"]).cells():
                    self.written.setdefault(address, set()).add(value)
            if listen is not None:
                listen(note)

        assert self._talk is not None
        cable = self._cable
        return drive(job(self._talk, "board:"), cable, stop=cable.stop, notes=noted, trace=self._listen_in)

    def now(self) -> datetime:
        return BEGAN


def values_of(step: Step) -> dict[str, Any]:
    """What the command line would hand to the verb."""
    values = {"range": step.ranges, "all": step.work.endswith("all"), "deep": step.work.endswith("deep")}
    return {**PLAIN, **values, "overwrite": False, "drop": False}
