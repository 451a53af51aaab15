"""Profiles to machines: find the file, read its TOML, and build the values from it.

Every table and key is looked at. Errors name the file, the key and the allowed values.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from linktool.errors import ProfileError
from linktool.machine.values import KINDS, Area, Chip, Dialect, Keys, Link, Machine, Reserved, Screen
from linktool.toml_table import Table, read_toml, shown, text_of

SHIPPED = Path(__file__).parent.parent / "machines"


def shipped() -> tuple[Path, ...]:
    """The profiles that come with linktool."""
    return tuple(sorted(SHIPPED.glob("*.toml")))


def available(folder: Path | None = None) -> dict[str, Path]:
    """Name -> file, the user's own in `folder` before the shipped ones."""
    found = {path.stem: path for path in shipped()}
    if folder and folder.is_dir():
        found.update({path.stem: path for path in sorted(folder.glob("*.toml"))})
    return dict(sorted(found.items()))


def load(name: str, folder: Path | None = None) -> Machine:
    """The machine called `name`, or the profile in the file `name`. ProfileError when neither."""
    known = available(folder)
    path = known.get(name.lower()) or Path(name)
    try:
        text = text_of(path, ProfileError)
    except FileNotFoundError:
        raise ProfileError(
            f"no machine is called {name!r} and no such file is there", f"Known machines: {', '.join(known)}"
        ) from None
    return parse(text, str(path))


def parse(text: str, source: str) -> Machine:
    """A profile's text as a Machine. ProfileError with `source` and the key."""
    return _machine(read_toml(text, source, ProfileError), source)


def _machine(data: object, source: str) -> Machine:
    top = Table(data, source, "top level", ProfileError)
    head = top.table("machine", "machine")
    name = head.text("name")
    if not re.fullmatch(r"[a-z][a-z0-9-]{0,31}", name):
        raise head.wrong("name", f"is {shown(name)}", "a-z, 0-9 and -, a letter first, 32 at most")
    machine = Machine(
        name=name,
        title=head.text("title"),
        processor=head.text("processor", "6502", ("6502", "65C02")),
        clock_hz=head.number("clock_hz", 1_000_000, 10_000, 20_000_000),
        note=head.text("note", ""),
        areas=_areas(top),
        reserved=tuple(_each(top, "reserved", _reserved)),
        symbols=_symbols(top.table("symbols", "symbols")),
        chips=tuple(_each(top, "chip", _chip)),
        screen=_screen(top.table("screen", "screen")),
        keys=_keys(top.table("keys", "keys")),
        dialect=_dialect(top.table("dialect", "dialect")),
        link=_link(top.table("link", "link")),
        source=source,
    )
    head.close()
    top.close()
    return machine


def _each(top: Table, key: str, build: Callable[[Table], Any]) -> list[Any]:
    built = []
    for table in top.tables(key):
        built.append(build(table))
        table.close()
    return built


def _areas(top: Table) -> tuple[Area, ...]:
    areas: list[Area] = sorted(_each(top, "area", _area), key=lambda area: area.range)
    if not areas:
        raise top.wrong("area", "is missing", "at least one [[area]] with first, last and kind")
    for before, after in pairwise(areas):
        if after.range.first <= before.range.last:
            raise top.wrong(
                "area", f"{after.range} overlaps {before.range}", "areas that do not share an address"
            )
    return tuple(areas)


def _area(table: Table) -> Area:
    kind = table.text("kind", allowed=KINDS)
    return Area(table.range(), kind, table.text("label", kind))  # type: ignore[arg-type]  # checked by `allowed`


def _reserved(table: Table) -> Reserved:
    return Reserved(table.text("name"), table.range(), table.text("reason"))


def _symbols(table: Table) -> dict[str, int]:
    names = list(table.data)
    for name in names:
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,31}", name):
            raise table.wrong(name, "is not a name", "a-z, 0-9 and _, a letter first")
    return {name: table.address(name) for name in names}


def _chip(table: Table) -> Chip:
    bits = table.take("bits")
    if not isinstance(bits, list) or not bits or not all(type(bit) is int and 0 <= bit <= 7 for bit in bits):
        raise table.wrong("bits", f"is {shown(bits)}", "a list of bit numbers, 0 to 7")
    return Chip(table.text("position"), table.range(), tuple(bits), table.text("part", ""))


def _screen(table: Table) -> Screen:
    screen = Screen(
        columns=table.whole("columns", 40, 8, 132),
        rows=table.whole("rows", 24, 1, 66),
        rate_cps=table.number("rate_cps", 60, 1, 100_000),
    )
    table.close()
    return screen


def _keys(table: Table) -> Keys:
    extra_table = table.table("extra", "keys.extra")
    extra = {name: extra_table.text(name) for name in list(extra_table.data)}
    keys = Keys(fold=table.yes("fold", True), high_bit=table.yes("high_bit", False), extra=extra)
    table.close()
    return keys


_PLACES = {
    "deposit": ("address", "bytes"),
    "deposit_more": ("bytes",),
    "deposit_readable": ("address", "bytes"),
    "deposit_answer": ("address", "byte"),
    "more_answer": (),
    "examine": ("first", "last"),
    "run": ("address",),
    "row": ("address", "bytes"),
    "run_answer": ("address", "byte"),
}
_NEEDED = {
    "deposit": ("address", "bytes"),
    "deposit_more": ("bytes",),
    "deposit_readable": ("address", "bytes"),
    "examine": ("first", "last"),
    "run": ("address",),
    "row": ("bytes",),
}


def _template(table: Table, key: str, default: Any = "") -> str:
    text = table.text(key, default)
    allowed = _PLACES[key]
    names = re.findall(r"\{([^{}]*)\}", text)
    rest = re.sub(r"\{[^{}]*\}", "", text)
    if any(name not in allowed for name in names) or "{" in rest or "}" in rest:
        places = ", ".join("{" + name + "}" for name in allowed) or "no places"
        raise table.wrong(key, f"is {shown(text)}", f"text with {places}")
    for name in _NEEDED.get(key, ()):
        if text and names.count(name) != 1:
            raise table.wrong(key, f"is {shown(text)}", "text with {" + name + "} once")
    return text


def _one_key(table: Table, key: str, default: str) -> str:
    text = table.text(key, default)
    if len(text) > 1 or any(ord(character) > 0x7F for character in text):
        raise table.wrong(key, f"is {shown(text)}", "one 7-bit character, or none")
    return text


def _dialect(table: Table) -> Dialect:
    dialect = Dialect(
        deposit=_template(table, "deposit", ...),
        examine=_template(table, "examine", ...),
        run=_template(table, "run", ...),
        ready=table.text("ready", ""),
        deposit_more=_template(table, "deposit_more"),
        deposit_readable=_template(table, "deposit_readable"),
        deposit_answer=_template(table, "deposit_answer"),
        more_answer=_template(table, "more_answer"),
        row=_template(table, "row", "{address}: {bytes}\r"),
        row_bytes=table.whole("row_bytes", 8, 1, 32),
        run_answer=_template(table, "run_answer"),
        end_key=_one_key(table, "end_key", "\r"),
        end_echo=table.text("end_echo", "\r"),
        cancel_key=_one_key(table, "cancel_key", ""),
        cancel_answer=table.text("cancel_answer", ""),
        rubout_key=_one_key(table, "rubout_key", ""),
        error_answer=table.text("error_answer", ""),
        separator=table.text("separator", " "),
        line_limit=table.whole("line_limit", 72, 12, 1000),
        address_digits_min=table.whole("address_digits_min", 4, 1, 4),
        byte_digits_min=table.whole("byte_digits_min", 2, 1, 2),
        digits_max=table.whole("digits_max", 2, 2, 8),
        empty_line_harmless=table.yes("empty_line_harmless", False),
    )
    if not dialect.cancel_key:
        raise table.wrong("cancel_key", "is empty", 'the key that drops the line in hand, e.g. "\\u001B"')
    if not dialect.end_key:
        raise table.wrong("end_key", "is empty", "the key that ends a line")
    if not dialect.row.endswith("\r"):
        raise table.wrong("row", f"is {shown(dialect.row)}", 'text that ends with a new line, "\\r"')
    if not (dialect.end_echo or dialect.ready):
        raise table.wrong("ready", "is empty like end_echo", "something the machine prints after a line")
    table.close()
    return dialect


def _link(table: Table) -> Link:
    link = Link(
        rate=table.whole("rate", 2400, 50, 4_000_000),
        frame=table.text("frame", "8N1", ("8N1", "8N2", "7E1", "7O1", "7N1", "7N2", "7E2", "8E1", "8O1")),
        flow=table.text("flow", "none", ("none", "rtscts", "xonxoff")),
        pacing=table.text("pacing", "window", ("window", "timed")),
        window=table.whole("window", 0, 0, 16),
        latch=table.whole("latch", 1, 0, 16),
        echo=table.yes("echo", True),
        key_delay_s=table.number("key_delay_s", 0, 0, 10),
        line_delay_s=table.number("line_delay_s", 0, 0, 60),
        newline=table.text("newline", "cr", ("cr", "lf", "crlf")),
        dtr=_line_state(table, "dtr"),
        rts=_line_state(table, "rts"),
        settle_s=table.number("settle_s", 0, 0, 60),
    )
    table.close()
    return link


def _line_state(table: Table, key: str) -> bool | None:
    value = table.text(key, "leave", ("leave", "on", "off"))
    return None if value == "leave" else value == "on"
