"""Jobs whose state is kept in a file while they run, so that `resume` can go on after any end."""

from __future__ import annotations

import time
from typing import Any, TypeVar

from formats.image import Image
from linktool.actions import Note
from linktool.bench import Bench, Job
from linktool.errors import UsageError
from linktool.unfinished import Keeper, Unfinished, file_of, load

R = TypeVar("R")


def keeper_for(bench: Bench, command: str, image: Image | None = None, **options: Any) -> Keeper:
    """A keeper for work that begins now on the bench's machine and port. UsageError where an earlier test
    has still to give memory back, and another one would make it forget that."""
    machine, port = bench.machine.name, bench.port_name
    entry = command == "enter"
    if not entry:
        refuse_while_owed(bench)
    work = Unfinished(command, machine, port, bench.now(), image or Image(), options=options)
    return Keeper(file_of(bench.folders.state, machine, port, entry), work, time.monotonic)


def hold_kept(bench: Bench, job: Job[R], keeper: Keeper) -> R:
    """Have the conversation while the keeper listens."""

    def listen(note: Note) -> None:
        keeper.take(note.topic, note.facts)

    try:
        return bench.hold(job, listen)
    finally:
        if keeper.failure:
            bench.warn(f"`resume` could not go on from here: {keeper.failure}")


def unfinished(bench: Bench, entry: bool) -> Unfinished | None:
    """The entry, or else the test, that was begun on this machine and port and not ended. UsageError for a
    file that cannot be read."""
    return load(file_of(bench.folders.state, bench.machine.name, bench.port_name, entry))


def refuse_while_owed(bench: Bench) -> None:
    """UsageError where a test has still to give memory back."""
    work = unfinished(bench, entry=False)
    if work is not None:
        raise UsageError(
            f"the {work.command} of {work.began:%Y-%m-%d %H:%M} was interrupted and has not given back what "
            "it had written over",
            "`linktool resume` gives it back, `linktool resume --drop` forgets it",
        )
