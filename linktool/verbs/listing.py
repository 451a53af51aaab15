"""ports, machines."""

from __future__ import annotations

from linktool import machine as profiles
from linktool.bench import Bench
from linktool.commands import Values
from linktool.errors import ProfileError
from linktool.jobs.listing import MachinesReport, PortEntry, PortsReport
from linktool.ports import list_ports


def ports(bench: Bench, values: Values) -> PortsReport:
    """What is plugged in."""
    return PortsReport(tuple(PortEntry(port.device, port.description, port.usb) for port in list_ports()))


def machines(bench: Bench, values: Values) -> MachinesReport:
    """Every profile; one that cannot be read is listed with what is wrong with it."""
    rows = []
    for name, path in profiles.available(bench.folders.machines).items():
        try:
            title = profiles.load(name, bench.folders.machines).title
        except ProfileError as error:
            title = f"cannot be used: {error}"
        rows.append((name, title, str(path)))
    asked = values.get("name")
    shown = profiles.load(asked, bench.folders.machines) if asked else None
    return MachinesReport(tuple(rows), shown, str(bench.folders.machines))
