"""A machine profile as TOML that a person can read and go on with: the way back from `machine.parse`.

Every key of [dialect] that differs from its default is written, with a word on what it is. Writing and
parsing gives the same machine; `as_toml` sees to that itself and raises ProfileError otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace

from formats.image import Range, hex4
from linktool.machine import Dialect, Link, Machine, parse

_DIALECT_WORDS = {
    "deposit": "a line that deposits bytes at an address",
    "deposit_more": "a line that goes on where the last one stopped",
    "deposit_readable": "the same as deposit, spaced for people",
    "deposit_answer": "what a deposit line is answered with, after end_echo",
    "more_answer": "what a line that goes on is answered with",
    "examine": "a line that prints memory",
    "row": "one row of what it prints",
    "row_bytes": "bytes a row; rows break at multiples of it",
    "run": "a line that starts a program",
    "run_answer": "what is printed before the program runs",
    "ready": "the prompt",
    "end_key": "the key that ends a line",
    "end_echo": "its echo",
    "cancel_key": "the key that drops the line in hand",
    "cancel_answer": "what it is answered with",
    "error_answer": "what a line the monitor does not take is answered with",
    "rubout_key": "the key that takes back one character",
    "separator": "what stands between bytes",
    "line_limit": "characters a line may have",
    "address_digits_min": "fewest digits of an address",
    "byte_digits_min": "fewest digits of a byte",
    "digits_max": "most digits; the last ones count",
    "empty_line_harmless": "the end key alone does nothing",
}
_LINK_WORDS = {
    "rate": "baud",
    "echo": "false: a one-way adapter, nothing comes back",
    "window": "keys under way at once; 0 measures it",
    "latch": "keys the keyboard register holds",
    "key_delay_s": "seconds after each key",
    "line_delay_s": "seconds after each line",
    "settle_s": "seconds the machine needs after the port is opened",
    "newline": "what the adapter sends for a new line",
}
_ALWAYS = {"link": ("rate", "frame", "pacing", "newline"), "dialect": ("deposit", "examine", "run", "row")}


def as_toml(machine: Machine, head: Iterable[str] = ()) -> str:
    """The profile's text. head: comment lines that stand before it."""
    lines = [f"# {line}".rstrip() for line in head]
    lines += ['# Addresses are hexadecimal, in quotes. "\\r" is a new line.', ""]
    lines += [
        "[machine]",
        _pair("name", machine.name),
        _pair("title", machine.title),
        _pair("processor", machine.processor),
        _pair("clock_hz", machine.clock_hz),
        *([_pair("note", machine.note)] if machine.note else []),
    ]
    for area in machine.areas:
        lines += ["", "[[area]]", *_range(area.range), _pair("kind", area.kind), _pair("label", area.label)]
    for reserved in machine.reserved:
        lines += ["", "[[reserved]]", _pair("name", reserved.name), *_range(reserved.range)]
        lines.append(_pair("reason", reserved.reason))
    if machine.symbols:
        lines += ["", "[symbols]", *(_pair(name, hex4(value)) for name, value in machine.symbols.items())]
    screen = machine.screen
    lines += ["", "[screen]", _pair("columns", screen.columns), _pair("rows", screen.rows)]
    lines.append(_pair("rate_cps", screen.rate_cps))
    lines += ["", "[keys]", _pair("fold", machine.keys.fold)]
    lines += [_pair("high_bit", True)] if machine.keys.high_bit else []
    if machine.keys.extra:
        lines += ["", "[keys.extra]", *(_pair(_key(n), keys) for n, keys in machine.keys.extra.items())]
    lines += ["", "[dialect]", *_changed("dialect", machine.dialect, _DIALECT_WORDS)]
    lines += ["", "[link]", *_changed("link", machine.link, _LINK_WORDS)]
    for chip in machine.chips:
        lines += ["", "[[chip]]", _pair("position", chip.position), *_range(chip.range)]
        lines.append(f"bits = [{', '.join(str(bit) for bit in chip.bits)}]")
        lines += [_pair("part", chip.part)] if chip.part else []
    text = "\n".join(lines) + "\n"
    if replace(parse(text, machine.source), source=machine.source) != machine:
        raise AssertionError(f"the profile {machine.name} does not read back as it was written")
    return text


def _changed(table: str, value: Dialect | Link, words: dict[str, str]) -> list[str]:
    found = []
    for each in fields(value):
        held = getattr(value, each.name)
        if held == each.default and each.name not in _ALWAYS[table]:
            continue
        if each.name in ("dtr", "rts"):
            held = "on" if held else "off"
        comment = words.get(each.name)
        found.append(_pair(each.name, held) + (f"  # {comment}" if comment else ""))
    return found


def _range(where: Range) -> list[str]:
    return [_pair("first", hex4(where.first)), _pair("last", hex4(where.last))]


def _pair(key: str, value: object) -> str:
    if isinstance(value, bool):
        return f"{key} = {str(value).lower()}"
    if isinstance(value, int | float):
        return f"{key} = {int(value) if value == int(value) else value}"
    return f"{key} = {_text(str(value))}"


def _key(name: str) -> str:
    plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if plain else _text(name)


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\r": "\\r", "\n": "\\n", "\t": "\\t", "\b": "\\b"}


def _text(value: str) -> str:
    """A TOML basic string (TOML 1.0.0, section String)."""

    def shown(character: str) -> str:
        if character in _ESCAPES:
            return _ESCAPES[character]
        if character < " " or character == "\x7f":
            return f"\\u{ord(character):04X}"
        return character

    return '"' + "".join(shown(character) for character in value) + '"'
