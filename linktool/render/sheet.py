"""A sheet for typing by hand, as text and as a page to print. The page has no script and loads nothing."""

from __future__ import annotations

from html import escape

from formats.image import hex4
from linktool.jobs.sheet import SheetLine, SheetReport
from linktool.key_names import printed
from linktool.render.data import Data, data, segments_data
from linktool.render.text import count, lines, listed
from linktool.screen import UNKNOWN

GAP = "  "


@lines.register
def _(report: SheetReport) -> list[str]:
    if not report.saved:
        return sheet_lines(report)
    what = count(len(report.lines), "line")
    return [*(f"note: {remark}" for remark in report.remarks), f"Saved a sheet of {what} to {report.saved}."]


@data.register
def _(report: SheetReport) -> Data:
    return {
        "command": "sheet",
        "ok": True,
        "machine": report.machine.name,
        "segments": segments_data(report.image),
        "bytes": len(report.image),
        "keystrokes": report.keystrokes,
        "lines": [
            {"typed": line.typed, "check": f"{line.check:02X}", "screen": list(line.rows)}
            for line in report.lines
        ],
        "listings": [{"typed": each.asked, "screen": list(each.rows)} for each in report.listings],
        "saved": report.saved,
        "warnings": list(report.remarks),
    }


def head_lines(report: SheetReport) -> list[str]:
    """What the sheet is, and how to use it: one sentence or two a line."""
    dialect = report.machine.dialect
    end, cancel = printed(dialect.end_key), printed(dialect.cancel_key)
    mends = f"{printed(dialect.rubout_key)} takes back one key. " if dialect.rubout_key else ""
    result = [
        f"{report.source}: {count(len(report.image), 'byte')} at "
        f"{listed(segment.range for segment in report.image.segments)}, for machine {report.machine.name}: "
        f"{count(len(report.lines), 'line')}, {count(report.keystrokes, 'key')}.",
        f"Type each line as it stands and end it with {end}. {mends}{cancel} drops a line not yet ended.",
    ]
    if dialect.ready:
        result.append(f"The {dialect.ready.strip()!r} before a line is the machine's own: do not type it.")
    if any(UNKNOWN in row for line in report.lines for row in line.rows):
        result.append(f"{UNKNOWN} stands for a digit that depends on what was in memory before.")
    rule = "Check: add the bytes of a line; the last two hex digits count."
    return [*result, f"{rule} {example(report.lines[0])}"]


def example(line: SheetLine) -> str:
    """The first line's check figure, worked out."""
    total = sum(line.data)
    terms = "+".join(f"{byte:02X}" for byte in line.data)
    return f"Line {line.number}: {terms} = {total:X}, so {line.check:02X}."


def after_lines(report: SheetReport) -> list[str]:
    end = printed(report.machine.dialect.end_key)
    start = report.image.start
    return [
        f"To compare: type the first line of each listing, end it with {end}, and compare every row.",
        *([f"It starts at {hex4(start)}."] if start is not None else []),
    ]


def sheet_lines(report: SheetReport) -> list[str]:
    """The whole sheet as text."""
    wide = max(len(row) for line in report.lines for row in line.rows)
    result = [*(f"note: {remark}" for remark in report.remarks), *head_lines(report)]
    for number, group in enumerate(report.screens, 1):
        title = f"Screen {number} of {len(report.screens)}" if len(report.screens) > 1 else "On the screen"
        result += ["", f"line{GAP}{title:<{wide}}{GAP}check"]
        for line in group:
            first, *rest = line.rows
            result.append(f"{line.number:>4}{GAP}{first:<{wide}}{GAP}{line.check:02X}")
            result += [f"{'':>4}{GAP}{row}".rstrip() for row in rest]
    result += ["", *after_lines(report)]
    for listing in report.listings:
        result += ["", *(f"{'':>4}{GAP}{row}" for row in listing.rows)]
    return result


_STYLE = """
body { font: 12pt/1.4 sans-serif; margin: 1.5em; color: #000; background: #fff; }
h1 { font-size: 1.3em; } h2 { font-size: 1em; margin: 1.2em 0 .3em; }
p { margin: .3em 0; max-width: 46em; }
table, pre { font: 12pt/1.35 monospace; }
table { border-collapse: collapse; }
th { font-family: sans-serif; font-size: .8em; text-align: left; }
td, th { padding: .05em .8em .05em 0; vertical-align: top; white-space: pre; }
tr { border-bottom: 1px solid #ccc; break-inside: avoid; }
td.tick::before { content: ""; display: inline-block; width: .8em; height: .8em; border: 1px solid #000; }
pre { margin: .3em 0 1em; border: 1px solid #999; padding: .4em .6em; display: inline-block; }
pre { break-inside: avoid; }
section { break-inside: auto; } h2 { break-after: avoid; }
@media print { body { margin: 0; } @page { margin: 15mm; } }
"""


def page(report: SheetReport) -> str:
    """The whole sheet as one HTML page. Everything from files is escaped."""
    head, *rest = head_lines(report)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(report.source)} on {escape(report.machine.name)}</title>",
        f"<style>{_STYLE}</style></head><body>",
        f"<h1>Typing sheet: {escape(report.source)}</h1>",
        *(f"<p>{escape(line)}</p>" for line in (*(f"Note: {r}" for r in report.remarks), head, *rest)),
    ]
    for number, group in enumerate(report.screens, 1):
        parts.append(f"<section><h2>Screen {number} of {len(report.screens)}</h2><table>")
        parts.append("<tr><th>line</th><th>on the screen</th><th>check</th><th>typed</th></tr>")
        for line in group:
            cells = (str(line.number), escape("\n".join(line.rows)), f"{line.check:02X}")
            row = "".join(f"<td>{cell}</td>" for cell in cells)
            parts.append(f'<tr>{row}<td class="tick"></td></tr>')
        parts.append("</table></section>")
    parts.append("<section><h2>To compare</h2>")
    parts += [f"<p>{escape(line)}</p>" for line in after_lines(report)]
    parts += [f"<pre>{escape(chr(10).join(listing.rows))}</pre><br>" for listing in report.listings]
    parts.append("</section></body></html>")
    return "\n".join(parts) + "\n"
