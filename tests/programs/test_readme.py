"""The example in programs/README.md is a program: built, run and judged; every name and key is told."""

from __future__ import annotations

import re
from dataclasses import fields as fields_of

from linktool import library, machine
from linktool.manifest import GIVEN, parse
from linktool.program import Program
from linktool.screen_text import PIECES
from tests.programs.rig import Rig

TEXT = (library.shipped_folder() / "README.md").read_text("utf-8")


def block(kind: str) -> str:
    match = re.search(rf"```{kind}\n(.*?)```", TEXT, re.DOTALL)
    assert match
    return match[1]


def test_the_example_runs() -> None:
    program = parse(block("toml"), "README.md", "marks", block("asm"), "README.md")
    for name in ("heron", "dot"):
        built = library.build(program, machine.load(name), parameters={"times": 12})
        verdict = library.judge(built, Rig(built.machine).run(built))
        assert (verdict.ok, verdict.sentence) == (True, "12 marks came")


def test_every_given_name_every_piece_and_every_table_is_told() -> None:
    assert all(f"`{name}`" in TEXT for name in GIVEN)
    assert all(f"`{{={name}}}`" in TEXT for name in PIECES)
    words = {"parameters": "parameter", "answers": "answer", "outcomes": "outcome"}
    keys = {words.get(each.name, each.name) for each in fields_of(Program)} - {
        "name",
        "source",
        "source_name",
    }
    assert all(re.search(rf"\b{key}\b", TEXT) for key in keys)
