"""A sheet for typing by hand: lines, check figures, the screen to expect, the page."""

from __future__ import annotations

import html.parser
from pathlib import Path

import pytest

from formats.image import Image
from linktool import machine as profiles
from linktool.cli import main
from linktool.jobs.sheet import expected_screen, sheet
from linktool.render.sheet import page, sheet_lines

HERON = profiles.load("heron")
DOT = profiles.load("dot")
GREETING = Image.from_bytes(0x0280, b"Hello, World\n")


def test_check_figures_are_sums_of_bytes():
    # Source: srec_intel(5), EXAMPLE: the record :0D00000048656C6C6F2C20576F726C640AA1 of this text sums to
    # 00 modulo 256 with its length 0D and its checksum A1; so the data alone sum to -(0D + A1) = 52.
    lines = sheet(HERON, GREETING, "hello").lines
    assert sum(line.check for line in lines) % 256 == (-(0x0D + 0xA1)) % 256
    assert [line.typed for line in lines] == ["0280: 48 65 6C 6C 6F 2C 20 57", "0288: 6F 72 6C 64 0A"]


def test_the_example_can_be_worked_out_by_hand():
    shown = "\n".join(sheet_lines(sheet(HERON, Image.from_bytes(0x280, bytes.fromhex("A9008D000310")), "a")))
    # By hand: A9+00 = A9, +8D = 136, +00 = 136, +03 = 139, +10 = 149.
    assert "Line 1: A9+00+8D+00+03+10 = 149, so 49." in shown


def test_a_machine_that_answers_each_line_shows_two_rows_for_it():
    # The dialect of `dot` (DESIGN.md, from memory): a deposit line with an address is answered with that
    # address and the byte that was there before.
    lines = sheet(DOT, GREETING, "hello").lines
    assert lines[0].rows == ("0280: 48 65 6C 6C 6F 2C 20 57", "0280: xx")
    assert "x stands for a digit" in "\n".join(sheet_lines(sheet(DOT, GREETING, "hello")))


def test_lines_are_grouped_as_the_screen_holds_them():
    report = sheet(DOT, Image.from_bytes(0x0300, bytes(300)), "zeros")
    assert len(report.screens) > 1
    for group in report.screens:
        assert sum(len(line.rows) for line in group) < DOT.screen.rows
    assert [line.number for line in report.lines] == list(range(1, len(report.lines) + 1))


def test_listings_hold_every_byte_once_and_fit_the_screen():
    image = Image.from_runs([(0x0285, bytes(range(40))), (0x0400, bytes(range(256)))])
    report = sheet(HERON, image, "two")
    held = {}
    for listing in report.listings:
        assert len(listing.rows) < HERON.screen.rows
        for row in listing.rows[1:]:
            first, _, cells = row.partition(": ")
            for offset, cell in enumerate(cells.split()):
                held[int(first, 16) + offset] = int(cell, 16)
    assert held == dict(image.cells())
    assert report.listings[0].rows[0] == "=0285-02AC"


def test_the_screen_after_typing_is_what_the_lines_leave():
    rows = expected_screen(HERON, GREETING)
    assert rows == ("?", "=0280: 48 65 6C 6C 6F 2C 20 57", "=0288: 6F 72 6C 64 0A", "=")


class _Tags(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        assert not any(name.startswith("on") or name in ("src", "href") for name, _ in attrs)
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_the_page_is_whole_loads_nothing_and_escapes_names():
    name = '<script>alert("x")</script>&.hex'
    tags = _Tags()
    tags.feed(page(sheet(HERON, GREETING, name)))
    assert not tags.open
    assert not tags.seen & {"script", "img", "link", "iframe", "object"}
    assert name in tags.text
    assert "0280: 48 65 6C 6C 6F 2C 20 57" in tags.text


@pytest.fixture
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.txt").write_text("0280: A9 00 8D 00 03 4C 00 FF\n")
    return tmp_path


def test_the_verb_saves_a_page_and_never_over_another_file(own_folder, capsys):
    assert main(["sheet", "small.txt", "--machine", "heron", "-o", "sheet.html"]) == 0
    first = Path("sheet.html").read_text()
    assert first.startswith("<!DOCTYPE html>")
    assert main(["sheet", "small.txt", "--machine", "heron", "-o", "sheet.html"]) == 2
    assert "--overwrite" in capsys.readouterr().err
    assert Path("sheet.html").read_text() == first


def test_what_enter_refuses_is_refused_here_too(own_folder, capsys):
    assert main(["sheet", "small.txt", "--machine", "heron", "--at", "100"]) == 2
    assert "stack" in capsys.readouterr().err
