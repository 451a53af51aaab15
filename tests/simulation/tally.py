"""What many sessions came to: counts added up, broken rules with their seeds, and the table of both."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from tests.simulation import memory_judge, one_way
from tests.simulation.session import Outcome

RULES = (
    *memory_judge.RULES,
    *one_way.RULES,
    "claimed proven but different",
    "false alarm",
    "status 0 but not all proven",
    "stopped, but not at its prompt",
    "strays",
    "no recovery",
    "hung",
    "traceback",
)
"""What must never happen; judge.py and session.py say what each means."""

PARTS = (
    ("jobs", ("ended: ", "run: ", "afterwards: ")),
    ("tests of memory", ("survey: ", "diagnose: ", "give back: ", "pages: ", "marches: ", "named: ")),
    ("one-way links", ("one-way: ",)),
    ("faults injected", ("keys: ", "prints: ", "late ", "bursts ", "memory: ", "moments: ")),
)


@dataclass
class Tally:
    """Outcomes added up. broken: rule -> (seed, facts), in the order of the seeds."""

    counts: Counter[str] = field(default_factory=Counter)
    broken: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    virtual_s: float = 0.0
    longest_s: float = 0.0
    longest_seed: int = -1

    def add(self, outcome: Outcome) -> None:
        """One session more."""
        self.counts.update(outcome.counts)
        self.virtual_s += outcome.virtual_s
        if outcome.virtual_s > self.longest_s:
            self.longest_s, self.longest_seed = outcome.virtual_s, outcome.seed
        for rule in {wrong.rule for wrong in outcome.wrongs}:
            facts = "; ".join(wrong.facts for wrong in outcome.wrongs if wrong.rule == rule)
            self.broken.setdefault(rule, []).append((outcome.seed, facts))

    def merge(self, other: Tally) -> None:
        """Another tally's sessions as well."""
        self.counts.update(other.counts)
        self.virtual_s += other.virtual_s
        if other.longest_s > self.longest_s:
            self.longest_s, self.longest_seed = other.longest_s, other.longest_seed
        for rule, cases in other.broken.items():
            self.broken.setdefault(rule, []).extend(cases)

    def rows(self) -> list[str]:
        """The table, a line a count."""
        counts, left = self.counts, dict(self.counts)
        rows = []
        for title, heads in PARTS:
            rows.append(title)
            for name in sorted(name for name in counts if name.startswith(heads)):
                rows.append(f"  {left.pop(name):>12,}  {name}")
        rows.append("in all")
        rows += [f"  {number:>12,}  {name}" for name, number in sorted(left.items())]
        rows.append(f"  {self.virtual_s / 3600:>12,.0f}  hours at the bench (virtual time)")
        rows.append(f"  {self.longest_s / 60:>12,.1f}  minutes of it the longest (seed {self.longest_seed})")
        rows.append("must be 0")
        rows += [f"  {len(self.broken.get(rule, ())):>12,}  {rule}" for rule in RULES]
        for rule, cases in self.broken.items():
            for seed, facts in sorted(cases)[:20]:
                rows.append(f"seed {seed}: {rule}: {facts}")
        return rows
