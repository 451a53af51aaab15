"""A person at a board, apart from the steps: the board on the bench, and what is done in between."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from linktool.board.board import Board
from linktool.conversation import Conversation
from tests.simulation.cable import Cable
from tests.simulation.judge import Judge, Wrong
from tests.simulation.memory_judge import TestsJudge
from tests.simulation.memory_tests import MemoryTests
from tests.simulation.memory_truth import MemoryTruth
from tests.simulation.plan import Plan, Step, rom_of
from tests.simulation.wire import Disturbed


@dataclass
class Outcome:
    """What came of a session. counts: see tally.py for the names. wrongs: rules that were broken."""

    seed: int
    counts: Counter[str] = field(default_factory=Counter)
    wrongs: list[Wrong] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    virtual_s: float = 0.0


class Person:
    """The board, the judges, and the hands of a person. `ran`: a program was started; `resident`: routines of
    linktool's own may stand in memory."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.outcome = Outcome(plan.seed)
        self.random = Random(f"steps {plan.seed}")
        self.board = Board(
            plan.built,
            rom=rom_of(plan.machine.name),
            wire=plan.wire,
            display_cps=plan.display_cps,
            clock_hz=plan.clock_hz,
            faults=plan.memory_faults,
            seed=plan.seed & 0x7FFFFFFF,
        )
        self.wire = Disturbed(plan.disturbance, Random(f"wire {plan.seed}"))
        self.board.adapter.faults = (self.wire,)
        if plan.there:
            self._put_there()
        self._fill_more()
        self.truth = MemoryTruth(self.board, plan.machine, plan.memory_faults)
        self.tests_judge = TestsJudge(self.board, self.truth)
        self.tests: MemoryTests | None = None
        self.judge = Judge(self.board, plan.image, self.random)
        self.talk: Conversation | None = None
        self.disk = Path()
        self.ran = self.resident = False
        self.resets = 0

    def _put_there(self) -> None:
        for segment in self.plan.image.segments:
            self.board.poke(segment.first, segment.data)
        for address in self.plan.changed:
            self.board.poke(address, bytes([self._other_than(address)]))

    def _fill_more(self) -> None:
        """ROM that the profile does not know holds bytes of chance; at times some of it was never written."""
        for area in (area for area in self.plan.built.areas if area not in self.plan.machine.areas):
            if area.kind == "rom":
                contents = bytearray(self.random.randbytes(len(area.range)))
                if self.random.random() < 0.5:
                    contents[len(contents) // 2 :] = b"\xff" * (len(contents) - len(contents) // 2)
                self.board.bus.cells[area.range.first : area.range.last + 1] = contents

    def _other_than(self, address: int) -> int:
        """Another byte than the image has there: one bit turned, or any."""
        wanted = self.plan.image.get(address) or 0
        return wanted ^ (1 << self.random.randrange(8) if self.random.random() < 0.6 else 0xFF)

    def _wrong(self, rule: str, facts: str) -> None:
        self.outcome.wrongs.append(Wrong(rule, facts))

    def _happened(self, cable: Cable) -> None:
        self.outcome.counts.update(f"moments: {kind}" for kind in cable.happened.elements())
        self.resets += cable.happened["reset"]

    def _no_strays(self) -> bool:
        """Whether no fault of this session can excuse a byte that changed."""
        harmless = self._one_fault_a_line()
        return harmless and not self.plan.memory_faults and not self.ran and not self.resident

    def _one_fault_a_line(self) -> bool:
        """Whether no line can meet two faults of the link, which may make another line that looks right."""
        return not self.plan.disturbance.rates and not self.plan.disturbance.burst

    def _try_prompt(self) -> None:
        """Whether the monitor really is at its prompt: the end key alone must bring the bare prompt."""
        dialect, board = self.plan.machine.dialect, self.board
        kept, self.board.adapter.faults = self.board.adapter.faults, ()
        self.board.adapter.heard(True)
        self._listen_for(2.0)
        board.write(dialect.end_key.encode("ascii"))
        came = self._listen_for(1.0)
        wanted = dialect.end_echo + dialect.ready
        if came.decode("ascii") != wanted:
            self._wrong("stopped, but not at its prompt", f"{came!r}")
        self.board.adapter.faults = kept
        self.board.adapter.heard(self.plan.machine.link.echo)

    def _host_is_dead(self) -> None:
        self.talk = None
        if self.random.random() < 0.7:
            self._listen_for(self.random.uniform(0, 3))

    def _between(self, step: Step, status: int | None) -> None:
        """What a person does: plugs the cable in again, and presses the reset key if the machine is stuck."""
        self.board.restore()
        if status in (3, 130) and self.random.random() < 0.5:
            self.talk = None
        if status == 3 or step.work == "run":
            self._listen_for(self.random.uniform(0, 2))
            if self.random.random() < 0.7:
                self.board.reset()
        elif step.work == "enter without check":
            self._listen_for(0.5)  # its last line's echo came, but the monitor may still be at work on it
        elif self.random.random() < 0.1:
            self._listen_for(self.random.uniform(0, 20))

    def _listen_for(self, seconds: float) -> bytes:
        """Let time pass; what came meanwhile is thrown away, as by a port that is opened again."""
        end, came = self.board.now() + seconds, bytearray()
        while self.board.now() < end:
            came += self.board.read(end)
        return bytes(came)
