"""Several boards for one command: from ports given again and again, or from a file that names them.

    [[board]]
    port = "/dev/ttyUSB0"
    machine = "mine"        # may be left out: then --machine, or the settings, say it
    label = "J. Heron 1"    # may be left out: then the port's name stands for it

Pure but for reading the file. Two boards may not have the same port or the same label.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from linktool.errors import UsageError
from linktool.ports import port_kind
from linktool.toml_table import Table, read_toml, text_of

LONGEST_LABEL = 32


@dataclass(frozen=True)
class Place:
    """One board on the bench: what to call it, its port, its machine ("" where something else says it)."""

    label: str
    port: str
    machine: str = ""


def places(ports: Sequence[str], file: str | None) -> tuple[Place, ...]:
    """The boards asked for. UsageError where both ways are used, or a port or label comes twice."""
    if ports and file:
        raise UsageError("--port and --bench are both given", "Name the boards in one way")
    found = read_bench_file(Path(file)) if file else tuple(_numbered(ports))
    for what in ("port", "label"):
        seen: set[str] = set()
        for place in found:
            name = getattr(place, what)
            if name in seen and not (what == "port" and _simulated(name)):
                raise UsageError(f"the {what} {name!r} is named twice", "Each board has its own")
            seen.add(name)
    return found


def _simulated(port: str) -> bool:
    """Whether each opening of the port gives another board."""
    return port.lower().startswith("board:")


def _numbered(ports: Sequence[str]) -> Iterator[Place]:
    """Simulated boards of the same name are told apart by a number."""
    for number, port in enumerate(ports):
        before = ports[:number].count(port)
        yield Place(f"{port} ({before + 1})" if before and _simulated(port) else port, port)


def read_bench_file(path: Path) -> tuple[Place, ...]:
    """The boards in the file, in order. UsageError, with the file and the key, for one that will not do."""
    try:
        return parse(text_of(path, UsageError), str(path))
    except FileNotFoundError:
        raise UsageError(f"the bench file {path} is not there", "It names the boards: see --help") from None


def parse(text: str, source: str) -> tuple[Place, ...]:
    """The boards in a bench file's text. UsageError as above."""
    top = Table(read_toml(text, source, UsageError), source, "top level", UsageError)
    found = []
    for table in top.tables("board"):
        found.append(_place(table))
        table.close()
    top.close()
    if not found:
        raise UsageError(f"{source}: names no board", 'Write [[board]] and below it port = "..."')
    return tuple(found)


def _place(table: Table) -> Place:
    port = table.text("port")
    try:
        port_kind(port)
    except UsageError as error:
        raise UsageError(f"{table.source}: [{table.where}] port: {error.message}", error.hint) from error
    label = table.text("label", port[:LONGEST_LABEL]).strip()
    if not label or len(label) > LONGEST_LABEL or not label.isprintable():
        raise table.wrong("label", f"is {label!r}", f"1 to {LONGEST_LABEL} printable characters")
    return Place(label, port, table.text("machine", ""))
