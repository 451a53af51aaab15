"""Templates of screen text: what a program description says is printed, typed or meant.

    {first}      a value; as many hex digits as the parameter has, else four
    {turns:2}    with 2 or 4 hex digits; :d decimal; :key the character with that code;
                 :code a key's code as the keyboard's register shows it, with or without bit 7 where the
                 profile has the adapter set it
    {?found:2}   hex digits that may be any, kept under that name; only in what is printed
    {=ruler}     a piece worked out here for machine and values; see PIECES
In a sentence about what was printed, {found} shows what was kept, {bits} the data bits in which
`expected` and `found` differ ({bits:8} counts from 8), {more} how many further lines there were.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from formats.image import Image, Range
from linktool.expression import value_of
from linktool.machine import Machine

ANY_CHARACTER, ANY_HEX, EITHER_BIT_7 = "\0", "\1", "\2"
_FORMATS = ("", "2", "4", "d", "key", "code")
_FIELD = re.compile(r"\{([^{}]*)\}")
_CAPTURE = re.compile(r"\?([a-z][a-z0-9_]*):([1-9])")


class FieldError(ValueError):
    """A field nobody can fill: the field, and what is allowed."""

    def __init__(self, field: str, allowed: str) -> None:
        self.field, self.allowed = field, allowed
        super().__init__(f"{field}: {allowed}")


class Field(NamedTuple):
    """One field of a template; of expression, capture and piece two are empty."""

    expression: str = ""
    format: str = ""
    capture: str = ""
    digits: int = 0
    piece: str = ""


@dataclass(frozen=True)
class Scene:
    """What templates are filled from. `digits` holds the digits of each parameter."""

    machine: Machine
    values: Mapping[str, int]
    digits: Mapping[str, int]
    image: Image


def fields(template: str) -> tuple[Field, ...]:
    """The fields of a template. FieldError for one that cannot be."""
    stray = re.search(r"[{}]", _FIELD.sub("", template))
    if stray:
        raise FieldError(stray[0], "braces round the name of a value")
    return tuple(_field(match[1]) for match in _FIELD.finditer(template))


def _field(text: str) -> Field:
    if text.startswith("="):
        if text[1:] not in PIECES:
            raise FieldError("{" + text + "}", ", ".join("{=" + name + "}" for name in PIECES))
        return Field(piece=text[1:])
    if text.startswith("?"):
        match = _CAPTURE.fullmatch(text)
        if not match:
            raise FieldError("{" + text + "}", "{?name:digits}, 1 to 9 digits")
        return Field(capture=match[1], digits=int(match[2]))
    expression, _, form = text.partition(":")
    if form not in _FORMATS and not (expression == "bits" and form.isdigit()):
        raise FieldError("{" + text + "}", "after the colon " + ", ".join(_FORMATS[1:]))
    return Field(expression, form)


def raw(template: str, scene: Scene) -> str:
    """The text with marks where it cannot be known: ANY_CHARACTER, ANY_HEX, and EITHER_BIT_7 before a
    hex digit that may have its top bit set. `sample` and `matching` take it."""

    return _filled(template, lambda field: _raw(field, scene), str)


def block(lines: Iterable[str], times: int, scene: Scene) -> str:
    """Several lines as one raw text, `times` times on end."""
    return "\n".join(raw(line, scene) for line in lines) * times


def sample(text: str) -> str:
    """Raw text as a person is shown it: a dot for each character that cannot be known."""
    return text.replace(ANY_CHARACTER, ".").replace(ANY_HEX, ".").replace(EITHER_BIT_7, "")


def matching(text: str) -> str:
    """Raw text as a regular expression."""
    known = re.escape(text).replace(ANY_CHARACTER, ".").replace(ANY_HEX, "[0-9A-F]")
    return re.sub(EITHER_BIT_7 + "([0-7])", lambda digit: f"[{digit[1]}{int(digit[1]) + 8:X}]", known)


def keeping(template: str, scene: Scene) -> str:
    """A regular expression for one line, with a named group for each capture and piece."""

    def one(field: Field) -> str:
        name = field.capture or field.piece
        text = matching(_raw(field, scene))
        return f"(?P<{name}>{text})" if name else text

    return _filled(template.rstrip(" "), one, re.escape)


def sentence(template: str, scene: Scene, kept: Mapping[str, str], more: int = 0) -> str:
    """A sentence about what was printed."""

    def one(field: Field) -> str:
        if field.piece:
            return sample(_raw(field, scene))
        if field.expression in kept:
            return kept[field.expression]
        if field.expression == "bits":
            differing = int(kept["expected"], 16) ^ int(kept["found"], 16)
            return bit_list(differing, int(field.format or "0"))
        if field.expression == "more":
            return str(more)
        return _value(field, scene)

    return _filled(template, one, str)


def bit_list(bits: int, offset: int = 0) -> str:
    """The numbers of the bits set, as words: "3", "0 and 3", "0, 3 and 5"."""
    numbers = [str(bit + offset) for bit in range(8) if bits >> bit & 1]
    return " and ".join(filter(None, (", ".join(numbers[:-1]), *numbers[-1:])))


def _raw(field: Field, scene: Scene) -> str:
    if field.capture:
        return ANY_HEX * field.digits
    return PIECES[field.piece](scene) if field.piece else _value(field, scene)


def _filled(template: str, one: Callable[[Field], str], literal: Callable[[str], str]) -> str:
    parts = _FIELD.split(template)
    return "".join(one(_field(part)) if at % 2 else literal(part) for at, part in enumerate(parts))


def _value(field: Field, scene: Scene) -> str:
    value = value_of(field.expression, scene.values)
    if field.format == "d":
        return str(value)
    if field.format == "key":
        return chr(value & 0x7F)
    if field.format == "code":
        return (EITHER_BIT_7 if scene.machine.keys.high_bit else "") + f"{value & 0x7F:02X}"
    digits = int(field.format or scene.digits.get(field.expression, 4))
    return f"{value:0{digits}X}"


# ---- pieces ----------------------------------------------------------------------------------------


def _ruler(scene: Scene) -> str:
    """Row numbers 01 up, the rest of each row counting columns; the last row is its number alone."""
    rows, columns = scene.values["rows"], scene.values["columns"]
    rest = "".join(str(column % 10) for column in range(3, columns + 1))
    return "".join(f"{row:02d}{rest}" for row in range(1, rows)) + f"{rows:02d}"


def _survey(scene: Scene) -> str:
    """What the profile's memory map lets the page survey print: sixteen rows of sixteen letters."""
    letters = {"ram": "W", "rom": "R", "none": ".", "io": ANY_CHARACTER}
    skipped = range(scene.values["skip_first"], scene.values["skip_last"] + 1)

    def letter(page: int) -> str:
        return "I" if page in skipped else letters[scene.machine.kind_at(page << 8 | scene.values["before"])]

    rows = [range(first, first + 16) for first in range(0, 256, 16)]
    return "\n".join(f"{row.start >> 4:X} " + "".join(map(letter, row)) for row in rows)


def _crc(scene: Scene) -> str:
    """CRC-16 (polynomial 1021, from 0000) of first to last, where the program's own bytes are all of it."""
    span = Range(scene.values["first"], scene.values["last"])
    held = scene.image.slice(span)
    if len(held) != len(span):
        return ANY_HEX * 4
    return f"{binascii.crc_hqx(held.segments[0].data, 0):04X}"


def _part(scene: Scene) -> str:
    return "CMOS" if scene.machine.processor == "65C02" else "NMOS"


PIECES: dict[str, Callable[[Scene], str]] = {
    "ruler": _ruler,
    "survey": _survey,
    "crc": _crc,
    "part": _part,
    "processor": lambda scene: scene.machine.processor,
}
