"""What the keys a person strikes in talk mean."""

from __future__ import annotations

from linktool import machine as profiles
from linktool.talk_keys import LEAVE, NAMED_KEY, Leave, Say, Strike, TalkKeys, guide

HERON = profiles.load("heron")


def struck(text: str) -> str:
    return "".join(each.keys for each in TalkKeys(HERON).read(text) if isinstance(each, Strike))


def test_plain_keys_go_as_they_are():
    assert struck("280:a9\x03\x1b") == "280:a9\x03\x1b"


def test_return_and_backspace_are_the_machines_own():
    assert struck("A\x7f\bB\r") == "A__B\r"


def test_a_line_end_of_any_system_is_one_key():
    assert struck("A\r\nB\nC\r") == "A\rB\rC\r"


def test_a_line_end_in_two_pieces_is_one_key():
    keys = TalkKeys(HERON)
    assert [*keys.read("A\r"), *keys.read("\nB")] == [Strike("A"), Strike("\r"), Strike("B")]


def test_leaving_keeps_what_follows_for_others():
    assert TalkKeys(HERON).read(f"A{LEAVE}port\n") == [Strike("A"), Leave("port\n")]


def test_a_key_by_its_name():
    assert struck(f"{NAMED_KEY}cancel\rX") == "\x1bX"
    assert struck(f"{NAMED_KEY}cancle\x7f\x7fel\r") == "\x1b"


def test_a_name_that_is_none_is_said_and_nothing_struck():
    meant = TalkKeys(HERON).read(f"{NAMED_KEY}bogus\r")
    assert not [each for each in meant if isinstance(each, Strike)]
    assert any("bogus" in each.text for each in meant if isinstance(each, Say))


def test_a_name_can_be_given_up():
    assert struck(f"{NAMED_KEY}can\x1bX") == "X"
    assert struck(f"{NAMED_KEY}\rX") == "X"


def test_what_no_key_sends_is_said():
    meant = TalkKeys(HERON).read("é")
    assert len(meant) == 1 and isinstance(meant[0], Say) and "not sent" in meant[0].text


def test_the_guide_names_the_leave_key_and_the_machines_own():
    assert "CTRL-] leaves" in guide(HERON) and "cancel" in guide(HERON)
