"""What stands on a 40 x 24 screen at the end: the ruler, the characters, the counter."""

from __future__ import annotations

import pytest

from linktool import library, machine
from tests.programs.rig import Rig


def screen(text: str, columns: int, rows: int, late_wrap: bool) -> list[str]:
    """A screen after `text`. A row that is full makes the next character start a new one (`late_wrap`),
    or starts it at once."""
    shown = [""]
    for character in text:
        if character == "\n":
            shown.append("")
            continue
        if len(shown[-1]) == columns:
            shown.append("")
        shown[-1] += character
        if len(shown[-1]) == columns and not late_wrap:
            shown.append("")
    return shown[-rows:]


@pytest.mark.parametrize("late_wrap", [False, True])
@pytest.mark.parametrize(("columns", "rows"), [(40, 24), (32, 16), (64, 25), (80, 24)])
def test_the_ruler_fills_the_screen(columns: int, rows: int, late_wrap: bool) -> None:
    from dataclasses import replace

    heron = machine.load("heron")
    target = replace(heron, screen=replace(heron.screen, columns=columns, rows=rows))
    built = library.build(library.load("ruler"), target)
    rig = Rig(target)
    before = "OLD TEXT\n" * 30
    shown = screen(before + rig.run(built), columns, rows, late_wrap)
    assert rig.ended
    assert len(shown) == rows
    assert [row[:2] for row in shown] == [f"{row:02d}" for row in range(1, rows + 1)]
    assert {row[2:] for row in shown[:-1]} == {"".join(str(column % 10) for column in range(3, columns + 1))}
    assert shown[-1] == f"{rows:02d}"


def test_a_screen_one_column_narrower_does_not_show_it_so() -> None:
    built = library.build(library.load("ruler"), machine.load("heron"))
    shown = screen(Rig(built.machine).run(built), 39, 24, late_wrap=False)
    assert [row[:2] for row in shown] != [f"{row:02d}" for row in range(1, 25)]


def test_fifteen_sets_of_characters_fill_the_screen() -> None:
    built = library.build(library.load("characters"), machine.load("dot"))
    text = Rig(built.machine).run(built)
    assert len(text.strip("\n")) == 40 * 24
    assert library.expected_screen(built) == tuple(screen(text, 40, 24, late_wrap=True))
