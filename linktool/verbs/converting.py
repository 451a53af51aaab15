"""convert."""

from __future__ import annotations

from formats import files
from linktool.bench import Bench
from linktool.commands import Values
from linktool.jobs.listing import ConvertReport
from linktool.verbs.saving import target


def convert(bench: Bench, values: Values) -> ConvertReport:
    """One file to another format. The target is written whole or not at all."""
    source, output = values["source"], values["target"]
    saving = target(output, values["to"], values["force"], "--force")
    loaded = files.load(source, format=values["format"], at=values["at"])
    image = loaded.image
    lost = saving.save(image)
    return ConvertReport(
        source,
        output,
        loaded.format.name,
        saving.format.name,
        tuple(segment.range for segment in image.segments),
        len(image),
        image.start,
        (*loaded.warnings, *lost),
    )
