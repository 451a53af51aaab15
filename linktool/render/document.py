"""A document as blocks, and as one HTML page or as Markdown. Every text in a block is plain text.

The HTML page needs nothing else: no script, no font, no picture from elsewhere, and a policy in it forbids
the browser to fetch any. All text is escaped. In Markdown, what came from a machine or a person stands in
fences or has its signs escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from linktool.render.page_style import STYLE


@dataclass(frozen=True)
class Heading:
    level: int
    text: str


@dataclass(frozen=True)
class Paragraph:
    text: str
    quiet: bool = False


@dataclass(frozen=True)
class Table:
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Verbatim:
    """Lines as they stand: what a program printed, say. name: what they are."""

    name: str
    text: str


@dataclass(frozen=True)
class Figure:
    """A drawing: SVG made by our own renderers, further HTML of theirs, and the same as lines of text."""

    caption: str
    svg: str
    text: tuple[str, ...]
    legend: str = ""


@dataclass(frozen=True)
class Entry:
    """Something that happened: when, what kind, a line on it, more by name. wrong: it did not go well."""

    at: str
    kind: str
    text: str
    details: tuple[tuple[str, str], ...] = ()
    wrong: bool = False


Block = Heading | Paragraph | Table | Verbatim | Figure | Entry
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def to_html(title: str, blocks: Iterable[Block]) -> str:
    """The whole page."""
    body = "\n".join(_html(block) for block in blocks)
    return (
        "<!DOCTYPE html>\n"
        '<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(title)}</h1>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _html(block: Block) -> str:
    if isinstance(block, Heading):
        return f"<h{block.level}>{escape(block.text)}</h{block.level}>"
    if isinstance(block, Paragraph):
        look = ' class="quiet"' if block.quiet else ""
        return f"<p{look}>{escape(block.text)}</p>"
    if isinstance(block, Table):
        return _html_table(block)
    if isinstance(block, Verbatim):
        return f'<p class="quiet">{escape(block.name)}</p>\n<pre>{escape(block.text)}</pre>'
    if isinstance(block, Figure):
        caption = f"<figcaption>{escape(block.caption)}</figcaption>"
        return f"<figure>{caption}{block.svg}{block.legend}</figure>"
    return _html_entry(block)


def _html_table(table: Table) -> str:
    head = "".join(f"<th>{escape(text)}</th>" for text in table.head)
    rows = "\n".join(
        "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in row) + "</tr>" for row in table.rows
    )
    return f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>"


def _html_entry(entry: Entry) -> str:
    mark = '<strong class="wrong">! </strong>' if entry.wrong else ""
    head = f'<span class="at">{escape(entry.at)}</span> <b>{escape(entry.kind)}</b>'
    parts = [
        '<article class="entry bad">' if entry.wrong else '<article class="entry">',
        f"<p>{head} {mark}{escape(entry.text)}</p>",
    ]
    for name, text in entry.details:
        tag = "pre" if "\n" in text or name == "printed" else "span"
        named = f'<span class="name">{escape(name)}</span>'
        parts.append(f'<div class="detail">{named} <{tag}>{escape(text)}</{tag}></div>')
    return "\n".join((*parts, "</article>"))


def to_markdown(title: str, blocks: Iterable[Block]) -> str:
    """The same as Markdown."""
    return "\n\n".join((f"# {_plain(title)}", *(_markdown(block) for block in blocks))) + "\n"


def _markdown(block: Block) -> str:
    if isinstance(block, Heading):
        return f"{'#' * block.level} {_plain(block.text)}"
    if isinstance(block, Paragraph):
        return _plain(block.text)
    if isinstance(block, Table):
        rows = [block.head, tuple("---" for _ in block.head), *block.rows]
        return "\n".join(
            "| " + " | ".join(text if text == "---" else _plain(text) for text in row) + " |" for row in rows
        )
    if isinstance(block, Verbatim):
        return f"{_plain(block.name)}\n\n{_fenced(block.text)}"
    if isinstance(block, Figure):
        return f"{_plain(block.caption)}\n\n{_fenced(chr(10).join(block.text))}"
    mark = "**!** " if block.wrong else ""
    lines = [f"- {_plain(block.at)} **{_plain(block.kind)}** {mark}{_plain(block.text)}"]
    for name, text in block.details:
        if "\n" in text or name == "printed":
            fenced = _fenced(text).replace("\n", "\n  ")
            lines.append(f"\n  {_plain(name)}:\n\n  {fenced}\n")
        else:
            lines.append(f"  - {_plain(name)}: {_plain(text)}")
    return "\n".join(lines)


def _plain(text: str) -> str:
    """One line of text whose signs mean nothing to Markdown or HTML."""
    flat = " ".join(text.split())
    return re.sub(r"([\\`*_{}\[\]<>#~!&|])", r"\\\1", flat)


def _fenced(text: str) -> str:
    """Lines in a fence longer than any run of backticks in them."""
    longest = max((len(run) for run in re.findall("`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    return f"{fence}\n{text}\n{fence}"
