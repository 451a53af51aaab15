"""Keys by name. Source of the codes: RFC 20 (BS 08, CR 0D, ESC 1B, DEL 7F; control codes are 40 less than the
letter above them)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import machine as profiles
from linktool.errors import UsageError
from linktool.key_names import key_named, own_keys, printed

HERON = profiles.load("heron")


@pytest.mark.parametrize(
    ("name", "code"),
    [("esc", 0x1B), ("ctrl-c", 0x03), ("^C", 0x03), ("CTRL-@", 0x00), ("return", 0x0D), ("backspace", 0x08),
     ("delete", 0x7F), ("1B", 0x1B), ("7f", 0x7F), ("*", 0x2A)],
)  # fmt: skip
def test_names_and_codes(name, code):
    assert key_named(name, HERON) == chr(code)


def test_the_machines_own_keys_come_first():
    machine = replace(HERON, keys=replace(HERON.keys, extra={"break": "\x03", "esc": "\x1a"}))
    assert own_keys(machine) == {"end": "\r", "cancel": "\x1b", "rubout": "_", "break": "\x03", "esc": "\x1a"}
    assert key_named("break", machine) == "\x03"
    assert key_named("esc", machine) == "\x1a"


def test_what_is_no_key_is_refused_with_the_near_one():
    with pytest.raises(UsageError, match="Did you mean cancel"):
        key_named("cancle", HERON)


def test_keys_as_they_are_printed_on_a_keyboard():
    assert printed("\x1b") == "ESC"
    assert printed("\x1d") == "CTRL-]"
    assert printed("A\r") == "A RETURN"
