"""resume: go on with what was interrupted on this machine at this port."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from linktool.bench import Bench
from linktool.bookkeeping import ForgottenReport
from linktool.commands import Values
from linktool.errors import UsageError
from linktool.jobs.report import Report
from linktool.jobs.resident_enter import enter as enter_job
from linktool.jobs.resume import GiveBackReport, give_back, resume_entry
from linktool.jobs.verify import BLOCK
from linktool.plan import make, read_cost
from linktool.resident.forecast import entering
from linktool.unfinished import Keeper, Unfinished, file_of, remove
from linktool.verbs.keeping import hold_kept, unfinished
from linktool.verbs.transfer import need_echo, started


def resume(bench: Bench, values: Values) -> Report | GiveBackReport | ForgottenReport:
    """A test's memory is given back first; then an entry goes on."""
    bench.need_port()
    need_echo(bench)
    test, entry = unfinished(bench, entry=False), unfinished(bench, entry=True)
    if test is None and entry is None:
        raise UsageError(
            f"nothing was interrupted on machine {bench.machine.name} at {bench.port_name}",
            "An entry or a test that is stopped, or loses its link, can be gone on with at the same port",
        )
    if values["drop"]:
        return _forget(bench, test, entry)
    given_back = _give_back(bench, test) if test else None
    if entry is None or (given_back and not given_back.ok):
        assert given_back is not None
        return given_back
    report = _go_on(bench, entry)
    if given_back:
        back = sum(len(each) for each in given_back.restored)
        remark = f"{back} bytes that a test had written over were put back"
        report = replace(report, remarks=(remark, *report.remarks))
    return report


def _file(bench: Bench, entry: bool) -> Path:
    return file_of(bench.folders.state, bench.machine.name, bench.port_name, entry)


def _forget(bench: Bench, *works: Unfinished | None) -> ForgottenReport:
    named = [f"{work.command} of {work.began:%Y-%m-%d %H:%M}" for work in works if work]
    for entry in (False, True):
        remove(_file(bench, entry))
    return ForgottenReport(bench.machine.name, bench.port_name, " and ".join(named))


def _give_back(bench: Bench, work: Unfinished) -> GiveBackReport:
    report = bench.hold(lambda talk, port: give_back(talk, work.image, work.written, work.command, port))
    if report.ok:
        remove(_file(bench, False))
    return report


def _faster_anew(bench: Bench, work: Unfinished) -> bool:
    """Whether sending all of it through the receiver is quicker than typing what is left and reading all of
    it back: for a long image it often is."""
    if work.options.get("via") == "typed":
        return False
    machine = bench.machine
    rest = work.image.minus(work.claimed)
    typed_s = make(machine, rest).cost.seconds if rest else 0.0
    going_on_s = typed_s + read_cost(machine, work.image, BLOCK).seconds
    anew_s = entering(machine, work.image).with_routines_s
    return anew_s is not None and anew_s < going_on_s


def _go_on(bench: Bench, work: Unfinished) -> Report:
    keeper = Keeper.going_on(_file(bench, True), work)
    if _faster_anew(bench, work):
        report = hold_kept(
            bench, lambda talk, port: enter_job(talk, work.image, port, True, "receiver"), keeper
        )
    else:
        report = hold_kept(
            bench, lambda talk, port: resume_entry(talk, work.image, work.claimed, port), keeper
        )
    keeper.end(not (report.stopped or report.lost), report.typed)
    start, watch = work.options.get("run"), work.options.get("watch")
    if isinstance(start, int) and 0 <= start <= 0xFFFF and report.ok:
        watch_s = float(watch) if isinstance(watch, (int, float)) else 5.0
        report = replace(report, ran=started(bench, start, watch_s))
    return report
