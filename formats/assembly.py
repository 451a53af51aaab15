"""6502 assembly source to an image, assembled by Ophis (formats/assembler.py). Reading only.

The source is in the syntax of the Ophis manual: `label:`, `.org`, `.byte`, `.word`, `.alias`, `.include`,
`.incbin`, macros, anonymous labels; `asl a` is taken for `asl`. Bytes land where .org says; a gap is a gap.
  address   --at places what no .org places. Where every byte has its place from an .org, --at may only
            repeat it: a source is assembled for its address, so moving its bytes would break it.
  symbols   names handed in (a machine's registers and routines); a definition in the source wins
  start     the label `start`, where the source has one (common practice)
  branches  out of reach is an error, never silently a longer instruction
A source cannot write files: .outfile and .listfile are passed over with a warning.
"""

from __future__ import annotations

import re

from formats.reading import Reading, ReadOptions
from formats.text import normal_line_ends

NAME = "6502 assembly source"
_DIRECTIVE = re.compile(
    r"\s*(\w+:)?\s*\.(org|byte|word|alias|text|data|include|incbin|require|macro|scope|space|advance|checkpc)\b",
    re.I,
)
_INSTRUCTION = re.compile(
    r"\s*(\w+:)?\s*(adc|and|asl|b(cc|cs|eq|it|mi|ne|pl|rk|vc|vs)|cl[cdiv]|cmp|cp[xy]|de[cxy]|eor|in[cxy]|jmp|jsr|"
    r"ld[axy]|lsr|nop|ora|p[hl][ap]|ro[lr]|rt[is]|sbc|se[cdi]|st[axy]|t(ax|ay|sx|xa|xs|ya))\b(?!:)",
    re.I,
)


def looks_like(head: bytes) -> bool:
    """Whether text that begins like this is meant as 6502 source: a directive, or two instructions."""
    lines = [line.partition(";")[0] for line in normal_line_ends(head).decode("latin-1").split("\n")]
    return any(map(_DIRECTIVE.match, lines)) or sum(1 for line in lines if _INSTRUCTION.match(line)) >= 2


def read(data: bytes | str, source: str, options: ReadOptions | None = None) -> Reading:
    """The image, labels and origin of a source.

    FormatError names file and line for what the assembler refuses. ValueError for symbols that are
    not names, or whose values lie outside 0000-FFFF, and for a processor other than 6502 and 65C02.
    """
    from formats.assembler import assemble  # imports Ophis, which nothing else needs

    return assemble(
        data.encode("utf-8") if isinstance(data, str) else bytes(data), source, options or ReadOptions()
    )
