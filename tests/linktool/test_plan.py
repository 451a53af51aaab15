"""The plan: what would be typed deposits the image, with the fewest keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Segment
from linktool import machine as profiles
from linktool.errors import RefusedError
from linktool.plan import blocks, make, next_line, read_cost
from tests.linktool.dialect_model import ColonModel, LetterModel
from tests.linktool.images import images

HERON, DOT = profiles.load("heron"), profiles.load("dot")
LETTERS = profiles.load(str(Path(__file__).with_name("letters.toml")))


@given(images(), st.sampled_from([HERON, DOT]), st.sampled_from(["dense", "screen"]))
def test_the_lines_deposit_the_image_and_nothing_else(image, machine, layout):
    model = ColonModel()
    for line in make(machine, image, layout).lines:
        model.line(line.text)
    assert model.memory == dict(image.cells())


@given(images(last=0x1FFF))
def test_a_letter_dialect_needs_its_profile_only(image):
    model = LetterModel()
    for line in make(LETTERS, image).lines:
        model.line(line.text)
    assert model.memory == dict(image.cells())


def fewest_keys(image: Image, limit: int) -> int:
    """The least number of keys for `AAAA:BB BB` and `:BB` lines, found by trying every way to cut each
    segment into lines (dynamic programming over places; shares nothing with the planner)."""
    total = 0
    for segment in image.segments:
        digits = [1 if value < 16 else 2 for value in segment.data]
        least = [0] + [10**9] * len(digits)
        for begin in range(len(digits)):
            head = len(f"{segment.first:X}") + 1 if begin == 0 else 1
            used = head - 1
            for end in range(begin, len(digits)):
                used += 1 + digits[end]
                if used > limit:
                    break
                least[end + 1] = min(least[end + 1], least[begin] + used + 1)
        total += least[-1]
    return total


@given(images(longest=400), st.sampled_from([HERON, DOT]))
def test_no_way_to_cut_lines_takes_fewer_keys(image, machine):
    assert make(machine, image).cost.keystrokes == fewest_keys(image, 127)


def test_lines_as_they_are_typed():
    image = Image.from_bytes(0x0280, bytes.fromhex("A9008D029F"))
    assert [line.text for line in make(HERON, image).lines] == ["280:A9 0 8D 2 9F"]
    assert [line.text for line in make(HERON, image, "screen").lines] == ["0280: A9 00 8D 02 9F"]
    assert [line.text for line in make(LETTERS, image).lines] == ["S 0280 A9 00 8D 02 9F"]


def test_a_long_run_goes_on_with_the_colon_alone():
    plan = make(HERON, Image.from_bytes(0x0300, bytes([0xFF]) * 100))
    assert [line.text[:6] for line in plan.lines] == ["300:FF", ":FF FF", ":FF FF"]
    assert [len(line.text) for line in plan.lines] == [126, 126, 51]
    assert all(line.answer == "\r=" for line in plan.lines)


def test_the_dot_machine_answers_an_address_with_what_was_there():
    plan = make(DOT, Image.from_bytes(0x0300, bytes([0xFF]) * 100))
    assert plan.lines[0].answer == "\r0300: \0\0\r"
    assert plan.lines[1].answer == "\r"


def test_screen_layout_breaks_at_multiples_of_eight():
    lines = make(HERON, Image.from_bytes(0x0283, bytes(10)), "screen").lines
    assert [line.text for line in lines] == ["0283: 00 00 00 00 00", "0288: 00 00 00 00 00"]


def test_cost_is_the_display_s_where_the_link_is_faster():
    plan = make(HERON, Image.from_bytes(0x0300, bytes([0xFF]) * 100))
    typed = 126 + 126 + 51
    assert plan.cost.keystrokes == typed + 3
    assert plan.cost.printed == typed + 3 * 2
    assert plan.cost.seconds == pytest.approx((typed + 6) / 60)


def test_a_slow_link_costs_its_own_time():
    slow = profiles.with_link(HERON, rate=110, frame="8N2")
    plan = make(slow, Image.from_bytes(0x0300, bytes([0xFF]) * 100))
    # 110 baud with two stop bits: 10 characters a second (teletype practice; 11 bits a character)
    assert plan.cost.seconds == pytest.approx(plan.cost.keystrokes / 10)


def test_timed_pacing_costs_its_delays():
    timed = profiles.with_link(HERON, pacing="timed", key_delay_s=0.05, line_delay_s=0.5)
    plan = make(timed, Image.from_bytes(0x0300, b"\xff"))
    assert plan.cost.seconds == pytest.approx(7 * 0.05 + 0.5)


def test_reading_back_costs_3_75_characters_a_byte():
    cost = read_cost(HERON, Image.from_bytes(0x1000, bytes(4096)), 256)
    overhead = 16 * (len("1000-10FF") + 1 + 1)
    assert cost.printed == 4096 * 3.75 + overhead


@given(images(), st.sampled_from([16, 256]))
def test_blocks_cover_the_image_once(image, block):
    covered = [address for wanted in blocks(image, block) for address in range(wanted.first, wanted.last + 1)]
    assert covered == [address for address, _ in image.cells()]


def test_a_line_that_cannot_hold_one_byte_is_refused():
    with pytest.raises(RefusedError, match="not one byte at 0280 fits"):
        next_line(HERON, Segment(0x0280, b"\xff"), 0x0280, limit=5)
