"""sheet."""

from __future__ import annotations

from dataclasses import replace

from formats import files
from linktool.bench import Bench
from linktool.commands import Values
from linktool.jobs.enter import refuse_harm
from linktool.jobs.sheet import SheetReport
from linktool.jobs.sheet import sheet as make
from linktool.render.sheet import page, sheet_lines
from linktool.sources import gather

PAGES = (".html", ".htm")


def sheet(bench: Bench, values: Values) -> SheetReport:
    """A sheet for typing by hand. What `enter` would refuse is refused here too. No port is opened."""
    output = values["output"]
    if output:
        files.refuse_existing(output, values["overwrite"], "--overwrite")
    image, warnings = gather(bench, values["image"], values["at"], values["format"])
    refuse_harm(bench.machine, image, tuple(values["force"] or ()))
    report = make(bench.machine, image, ", ".join(values["image"]), warnings)
    if output:
        text = page(report) if output.lower().endswith(PAGES) else "\n".join(sheet_lines(report)) + "\n"
        files.save(output, text, bool(values["overwrite"]), "--overwrite")
        report = replace(report, saved=output)
    return report
