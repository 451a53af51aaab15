"""diagnose: explain the last check or survey of the bench log, or a quick test of memory of its own."""

from __future__ import annotations

from formats.image import Range
from linktool.bench import Bench
from linktool.bench_log import BenchLog, Record
from linktool.commands import Values
from linktool.diagnosis import diagnose as explain
from linktool.errors import UsageError
from linktool.evidence import Evidence, banks_of
from linktool.jobs.diagnose import DiagnoseReport, Nothing
from linktool.jobs.measure import measure
from linktool.log_evidence import evidence_from
from linktool.pattern import Pattern, pattern_for
from linktool.verbs.keeping import hold_kept, keeper_for
from linktool.verbs.transfer import need_echo

EXPLAINED = ("check", "enter", "resume", "survey", "diagnose")


def diagnose(bench: Bench, values: Values) -> DiagnoseReport | Nothing:
    """With ranges, or --all, it measures; else it explains what was found last."""
    ranges = tuple(values["range"] or ())
    if ranges or values["all"]:
        return _measured(bench, ranges)
    return _from_log(bench)


def _measured(bench: Bench, ranges: tuple[Range, ...]) -> DiagnoseReport:
    bench.need_port()
    need_echo(bench)
    patterns = _patterns(bench, ranges)
    keeper = keeper_for(bench, "diagnose")
    measured = hold_kept(bench, lambda talk, port: measure(talk, patterns, port), keeper)
    keeper.end(finished=not measured.owed)
    found = explain(bench.machine, measured.evidence)
    return DiagnoseReport(
        bench.machine.name, bench.port_name, (found,), (measured.evidence,), measured=measured
    )


def _patterns(bench: Bench, ranges: tuple[Range, ...]) -> list[Pattern]:
    machine = bench.machine
    banks = [bank for bank in banks_of(machine) if bank.kind == "ram"]
    wanted = [bank for bank in banks if not ranges or any(bank.range.overlap(each) for each in ranges)]
    if not wanted:
        listed = ", ".join(str(bank.range) for bank in banks) or "none"
        raise UsageError(
            f"machine {machine.name} has no RAM in {' '.join(map(str, ranges))}",
            f"Its banks of RAM: {listed}",
        )
    asked = {bank.range: next((r for r in ranges if r.overlap(bank.range)), None) for bank in wanted}
    patterns = [pattern_for(machine, bank, asked[bank.range]) for bank in wanted]
    found = [pattern for pattern in patterns if pattern]
    if not found:
        raise UsageError(f"all of {wanted[0].range} is reserved for the monitor: nothing can be tried there")
    return found


def _from_log(bench: Bench) -> DiagnoseReport | Nothing:
    machine = bench.machine
    record = _last(BenchLog.kept_in(bench.folders.state).read().records, machine.name)
    if record is None:
        return Nothing(
            machine.name,
            f"The bench log has no check or survey of machine {machine.name} to explain. "
            "`linktool diagnose RANGE` tests a bank, `linktool survey` looks at all of them.",
        )
    taken = f"{record.command} of {record.at:%Y-%m-%d %H:%M}"
    evidence = evidences_of(record)
    if not evidence or not any(each.wrong or each.noise for each in evidence):
        return Nothing(machine.name, f"The {taken} found nothing wrong, so there is nothing to explain.")
    found = tuple(explain(machine, each) for each in evidence)
    return DiagnoseReport(machine.name, record.port, found, evidence, taken)


def _last(records: tuple[Record, ...], machine: str) -> Record | None:
    """The last entry that compared memory with something."""
    return next(
        (r for r in reversed(records) if r.machine == machine and r.command in EXPLAINED and "ok" in r.facts),
        None,
    )


def evidences_of(record: Record) -> tuple[Evidence, ...]:
    """What an entry holds for a diagnosis: of RAM, and of each ROM."""
    stored = [record.facts.get("memory"), *record.get("rom_memory", list, [])]
    return tuple(found for each in stored if (found := evidence_from(each)) is not None)
