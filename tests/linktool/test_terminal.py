"""Lines that are longer than the terminal is wide: broken between words, the rest where it belongs."""

from __future__ import annotations

import io

import pytest

from linktool.jobs.programs import LibraryReport
from linktool.render.terminal import Terminal


class Tty(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch):
    """Show a line in a terminal so many columns wide; gives what stands there."""
    monkeypatch.setenv("NO_COLOR", "1")

    def show(columns: int, *rows: tuple[str, str]) -> list[str]:
        monkeypatch.setenv("COLUMNS", str(columns))
        out = Tty()
        Terminal(out=out).show(LibraryReport(tuple((name, text, False) for name, text in rows), ()))
        return out.getvalue().splitlines()

    return show


QUESTION = "Is the processor an NMOS or a CMOS part, and has it the decimal mode?"


def test_the_rest_of_a_cell_stands_under_it(shown):
    lines = shown(60, ("decimal", QUESTION), ("characters", "Does the display show them?"))
    assert lines[0] == "decimal     Is the processor an NMOS or a CMOS part, and has"
    assert lines[1] == "            it the decimal mode?"
    assert lines[2] == "characters  Does the display show them?"
    assert all(len(line) <= 60 for line in lines)


def test_where_the_terminal_is_wide_nothing_is_broken(shown):
    assert shown(120, ("decimal", QUESTION))[0] == f"decimal  {QUESTION}"


def test_a_cell_in_the_right_half_is_not_followed_into_its_corner(shown):
    lines = shown(30, ("decimal", "what  " + "word " * 12))
    assert all(len(line) <= 30 for line in lines) and lines[1].startswith(" " * 15 + "word")
