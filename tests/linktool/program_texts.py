"""Program descriptions and sources for tests, and small changes to them."""

from __future__ import annotations

from linktool.manifest import parse
from linktool.program import Program

SOURCE = """
        lda #value
        sta first
        jmp monitor
"""
DESCRIPTION = """
title = "A trial"
question = "Does it try?"
ends = "monitor"
needs = ["monitor"]
zero_page = 2

[[parameter]]
name = "first"
title = "where it writes"
default = "free_first"

[[parameter]]
name = "value"
title = "what it writes"
default = "$41"
digits = 2
most = "7F"

[[writes]]
first = "first"
last = "first"

[[outcome]]
ok = true
prints = []
says = "it wrote {value} to {first}"
"""


def program(description: str = DESCRIPTION, source: str = SOURCE, name: str = "trial") -> Program:
    return parse(description, f"{name}/program.toml", name, source, f"{name}/source.s")


def changed(old: str, new: str, text: str = DESCRIPTION) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)
