"""Names of keys: what is printed on them, and the machine's own keys by what they do. Pure.

"RETURN", "ESC", "CTRL-C" are how keyboards name control characters (RFC 20 for their codes). The machine's
own are "end", "cancel" and "rubout" from its dialect, and those of [keys.extra] in its profile.
"""

from __future__ import annotations

import re

from linktool.errors import UsageError
from linktool.machine import Machine
from linktool.spelling import did_you_mean

PRINTED = {
    "\r": "RETURN",
    "\n": "LINE FEED",
    "\x1b": "ESC",
    "\b": "BACKSPACE",
    "\x7f": "DELETE",
    " ": "SPACE",
}
_TYPED = {
    "return": "\r",
    "enter": "\r",
    "linefeed": "\n",
    "esc": "\x1b",
    "escape": "\x1b",
    "backspace": "\b",
    "delete": "\x7f",
    "space": " ",
    "tab": "\t",
}


def printed(keys: str) -> str:
    """What a person presses to send `keys`: "RETURN", "CTRL-C", or the characters themselves."""
    return " ".join(_printed(key) for key in keys)


def _printed(key: str) -> str:
    if key in PRINTED:
        return PRINTED[key]
    return f"CTRL-{chr(ord(key) + 0x40)}" if key < " " else key


def own_keys(machine: Machine) -> dict[str, str]:
    """The machine's keys by name, and what each sends."""
    dialect = machine.dialect
    own = {"end": dialect.end_key, "cancel": dialect.cancel_key, "rubout": dialect.rubout_key}
    return {name: keys for name, keys in {**own, **machine.keys.extra}.items() if keys}


def key_named(name: str, machine: Machine) -> str:
    """What the key of that name sends: one of the machine's own, "esc", "ctrl-c", a code of two hex
    digits, or a single character. UsageError with the names there are."""
    own = own_keys(machine)
    word = name.strip()
    if word in own:
        return own[word]
    if word.lower() in _TYPED:
        return _TYPED[word.lower()]
    if len(word) == 1 and " " < word < "\x7f":
        return word
    control = re.fullmatch(r"(?:ctrl-|\^)([@-_a-z])", word, re.IGNORECASE)
    if control:
        return chr(ord(control[1].upper()) & 0x1F)
    if re.fullmatch(r"[0-7][0-9A-Fa-f]", word):
        return chr(int(word, 16))
    meant = did_you_mean(word.lower(), (*own, *_TYPED))
    there = f"Keys of {machine.name}: {', '.join(own)}; also esc, ctrl-c, or a code like 1B"
    raise UsageError(f"{name!r} is no key", meant + there)
