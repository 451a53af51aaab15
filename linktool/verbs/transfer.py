"""enter, check, read, run."""

from __future__ import annotations

from dataclasses import replace

from formats.image import Image
from linktool import library
from linktool.actions import Talk
from linktool.bench import Bench
from linktool.commands import Values
from linktool.conversation import Conversation
from linktool.errors import UsageError
from linktool.jobs.enter import refuse_harm
from linktool.jobs.report import Report, RunReport
from linktool.jobs.resident_check import check as check_job
from linktool.jobs.resident_enter import enter as enter_job
from linktool.jobs.resident_read import read as read_job
from linktool.jobs.run import run as run_job
from linktool.jobs.sheet import expected_screen
from linktool.jobs.unseen_run import run_unseen
from linktool.plan import make
from linktool.sources import gather
from linktool.verbs.entered_before import be_wary
from linktool.verbs.keeping import hold_kept, keeper_for
from linktool.verbs.saving import target


def enter(bench: Bench, values: Values) -> Report:
    """Type images in and prove them. Everything that can be refused is refused before the port is opened."""
    bench.need_port()
    image, warnings = gather(bench, values["image"], values["at"], values["format"])
    refuse_harm(bench.machine, image, tuple(values["force"] or ()))
    make(bench.machine, image)
    start = _start(bench, values["run"], image)
    report = _entered(bench, values, image, start)
    report = replace(report, remarks=(*warnings, *report.remarks))
    if not bench.machine.link.echo and report.ok:
        report = replace(report, screen=expected_screen(bench.machine, image))
    if start is not None and report.ok:
        ran = started(bench, start, values["watch"])
        report = replace(report, ran=ran)
    return report


def _entered(bench: Bench, values: Values, image: Image, start: int | None) -> Report:
    """Enter the image, kept so that `resume` can go on with it."""
    options = {"run": start, "watch": values["watch"], "via": values["via"], "sources": values["image"]}
    keeper = keeper_for(bench, "enter", image, **options)
    report = hold_kept(
        bench,
        lambda talk, port: _entering(bench, talk, image, port, values),
        keeper,
    )
    keeper.end(not (report.stopped or report.lost), report.typed)
    return report


def _entering(bench: Bench, talk: Conversation, image: Image, port: str, values: Values) -> Talk[Report]:
    be_wary(bench, talk)
    return enter_job(talk, image, port, not values["no_check"], values["via"])


def _checking(bench: Bench, talk: Conversation, image: Image, port: str, values: Values) -> Talk[Report]:
    be_wary(bench, talk)
    return check_job(talk, image, port, values["via"])


def _reading(bench: Bench, talk: Conversation, port: str, values: Values) -> Talk[Report]:
    be_wary(bench, talk)
    return read_job(talk, tuple(values["range"]), port, values["via"])


def _start(bench: Bench, asked: int | str | None, image: Image) -> int | None:
    """Where --run begins: the address given, else the image's start address, else its first byte."""
    if asked is None:
        return None
    if asked == "start":
        assert image.extent is not None
        return image.extent.first if image.start is None else image.start
    return symbol(bench, asked)


def symbol(bench: Bench, asked: int | str) -> int:
    """An address, the machine's symbol of that name, or where the library's program of that name starts."""
    if isinstance(asked, int):
        return asked
    found = bench.machine.symbols.get(asked)
    if found is not None:
        return found
    folder = bench.folders.programs
    if asked in library.available(folder):
        return library.build(library.load(asked, folder), bench.machine).start
    raise UsageError(
        f"machine {bench.machine.name} has no symbol {asked!r}, and the library no such program",
        f"Symbols: {', '.join(sorted(bench.machine.symbols))}; addresses are hexadecimal",
    )


def started(bench: Bench, address: int, watch_s: float) -> RunReport:
    """Start a program at `address` and watch it."""
    if not bench.machine.link.echo:
        return bench.hold(lambda talk, port: run_unseen(talk, address, port))
    return bench.hold(lambda talk, port: run_job(talk, address, watch_s, port))


def need_echo(bench: Bench) -> None:
    """UsageError over a one-way link."""
    if not bench.machine.link.echo:
        raise UsageError(
            f"the link of machine {bench.machine.name} is one-way: nothing can be read over it",
            "`linktool sheet FILE` gives a listing to compare with the machine's own screen",
        )


def _just_switched_on(bench: Bench) -> tuple[str, ...]:
    """A remark where the port is a simulated board that begins with this command."""
    if bench.talk is not None or not bench.port_name.startswith("board:"):
        return ()
    return (
        "board: is switched on with each command, and nothing has been entered into its memory yet; "
        "in the shell (`linktool` alone) it stays on",
    )


def check(bench: Bench, values: Values) -> Report:
    """Compare images with memory."""
    bench.need_port()
    image, warnings = gather(bench, values["image"], values["at"], values["format"])
    need_echo(bench)
    if not image:
        raise UsageError("there is nothing to check: the image is empty")
    fresh = _just_switched_on(bench)
    report = bench.hold(lambda talk, port: _checking(bench, talk, image, port, values))
    return replace(report, remarks=(*warnings, *fresh, *report.remarks))


def read(bench: Bench, values: Values) -> Report:
    """Examine memory; save it when asked."""
    output = values["output"]
    saving = target(output, values["to"], values["overwrite"], "--overwrite") if output else None
    need_echo(bench)
    report = bench.hold(lambda talk, port: _reading(bench, talk, port, values))
    if saving and report.image:
        lost = saving.save(report.image)
        report = replace(report, saved=output, remarks=(*report.remarks, *lost))
    return report


def run(bench: Bench, values: Values) -> RunReport:
    """Start a program."""
    address = symbol(bench, values["address"])
    if any(area.kind == "ram" and address in area.range for area in bench.machine.map()):
        for remark in _just_switched_on(bench):
            bench.warn(remark)
    return started(bench, address, values["watch"])
