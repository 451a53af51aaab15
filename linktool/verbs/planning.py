"""plan."""

from __future__ import annotations

from linktool.bench import Bench
from linktool.commands import Values
from linktool.jobs.enter import refuse_harm
from linktool.jobs.listing import PlanReport
from linktool.jobs.verify import BLOCK
from linktool.plan import make, read_cost
from linktool.resident.forecast import entering
from linktool.sources import gather


def plan(bench: Bench, values: Values) -> PlanReport:
    """What would be typed, and what it costs. No port is opened."""
    image, warnings = gather(bench, values["image"], values["at"], values["format"])
    machine = bench.machine
    refuse_harm(machine, image, tuple(values["force"] or ()))
    made = make(machine, image, values["layout"])
    reading = read_cost(machine, image, BLOCK)
    return PlanReport(machine, image, made, reading, values["layout"], warnings, entering(machine, image))
