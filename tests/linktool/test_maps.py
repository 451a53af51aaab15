"""Maps: a sign a page or 16 bytes; the worst of a cell; a mark, a colour and a word for every state."""

from __future__ import annotations

from typing import get_args
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from formats.image import Range
from linktool import machine as profiles
from linktool.maps import COLUMNS, FINE, LOOKS, PAGE, of_pages, of_profile, of_ranges
from linktool.page_states import Page, State
from linktool.render.maps import legend_html, svg, text_lines
from linktool.render.paint import Painted

HERON = profiles.load("heron")


def test_every_state_of_a_survey_can_be_drawn():
    assert set(get_args(State)) <= set(LOOKS)


def test_states_that_stand_together_differ_in_their_marks_not_only_in_colour():
    surveys = [LOOKS[state].mark for state in get_args(State)]
    assert len(set(surveys)) == len(surveys)
    checks = [
        LOOKS[state].mark for state in ("proven", "typed", "differs", "unsteady", "unread", "not probed")
    ]
    assert len(set(checks)) == len(checks)


def test_the_profile_as_a_map_of_pages():
    drawn = of_profile(HERON)
    assert drawn.cell == PAGE and len(drawn.rows) == 16
    assert drawn.rows[0].states == ("ram",) * COLUMNS
    assert drawn.rows[9].states[0xF] == "io" and drawn.rows[15].states[0xF] == "rom"
    assert drawn.rows[5].states == ("none",) * COLUMNS


def test_a_survey_as_a_map():
    drawn = of_pages("survey", [Page(0x12, "faulty"), Page(0x20, "mirror", of=0x10)])
    assert drawn.rows[1].states[2] == "faulty" and drawn.rows[2].states[0] == "mirror"
    assert drawn.states() == ("mirror", "faulty", "not probed")


def test_a_range_is_drawn_in_pieces_of_16_bytes_from_the_start_of_its_row():
    known = [(Range(0x1000, 0x10FF), "proven"), (Range(0x1034, 0x1034), "differs")]
    drawn = of_ranges("bank", known, Range(0x1010, 0x11AA))
    assert drawn.cell == FINE and [row.first for row in drawn.rows] == [0x1000, 0x1100]
    assert drawn.rows[0].states[3] == "differs" and drawn.rows[0].states[2] == "proven"
    assert set(drawn.rows[1].states) == {"not probed"}


@given(
    st.lists(
        st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0x2FF), st.sampled_from(sorted(LOOKS))), max_size=20
    ),
    st.sampled_from([PAGE, FINE]),
)
def test_a_cell_shows_the_worst_of_what_is_in_it(triples, cell):
    known = [(Range(first, min(first + more, 0xFFFF)), state) for first, more, state in triples]
    drawn = of_ranges("any", known, Range(0, 0xFFFF), cell)
    order = list(LOOKS)
    for row in drawn.rows:
        for column, shown in enumerate(row.states):
            first = row.first + column * cell
            inside = [s for where, s in known if where.overlap(Range(first, first + cell - 1))]
            held = [state for state in inside if state != "not probed"]
            assert shown == (max(held, key=order.index) if held else "not probed")


def test_as_text_with_a_head_and_a_legend():
    lines = text_lines(
        of_pages("survey of heron", [Page(0x12, "faulty"), Page(0x13, "ram")]), empty_rows=False
    )
    assert lines == [
        "survey of heron",
        "       0123456789ABCDEF",
        "1000     X#            ",
        "Each sign is a page of 256 bytes: # RAM, X bad.",
    ]
    assert isinstance(lines[2], Painted)
    assert lines[2].in_colour() == "1000     \x1b[31mX\x1b[0m\x1b[32m#\x1b[0m            "


def test_a_sign_is_explained_once_and_no_word_has_a_comma():
    known = [(Range(0x1000, 0x10FF), "faulty"), (Range(0x1100, 0x11FF), "differs")]
    *_, legend = text_lines(of_ranges("any", known, Range(0, 0xFFFF), PAGE), empty_rows=False)
    assert legend == "Each sign is a page of 256 bytes: X bad or differs."
    assert not [look.word for look in LOOKS.values() if "," in look.word]


def test_as_svg_every_cell_says_what_it_is_and_shapes_differ():
    states = [Page(number, state) for number, state in enumerate(get_args(State))]
    drawn = of_pages('a "title" <with> signs & such', states)
    root = ElementTree.fromstring(svg(drawn))
    titles = [element.text for element in root.iter("{http://www.w3.org/2000/svg}title")]
    assert titles[0] == 'a "title" <with> signs & such'
    assert "0100-01FF: bad" in titles and len(titles) == 257
    cells = svg(drawn).split("<g><title>")[1:]
    shapes = {cell.split("translate(")[1].split(")")[1].split("</g>")[0] for cell in cells[: len(states)]}
    assert len(shapes) == len(states), "each state has a shape of its own"
    assert "the monitor&#x27;s own RAM" in legend_html(drawn)
