"""A table of a TOML file, read key by key: machine profiles and program descriptions.

A value that will not do is refused with the file, the key and what is allowed. `close` refuses the
keys nobody asked for. Addresses are hexadecimal in quotes.
"""

from __future__ import annotations

import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from formats.image import Range, hex4
from linktool.errors import UsageError

LARGEST_FILE = 1 << 20


class Table:
    """One table; `where` is what messages call it, `error` what is raised."""

    def __init__(self, data: object, source: str, where: str, error: type[UsageError]) -> None:
        self.source, self.where, self.error = source, where, error
        if not isinstance(data, dict):
            raise self.wrong("", f"is {shown(data)}", "a table of keys and values")
        self.data: dict[str, Any] = dict(data)
        self.asked: list[str] = []

    def wrong(self, key: str, found: str, allowed: str) -> UsageError:
        path = f"[{self.where}] {key}".rstrip()
        return self.error(f"{self.source}: {path} {found}; allowed: {allowed}")

    def take(self, key: str, default: Any = ...) -> Any:
        self.asked.append(key)
        if key in self.data:
            return self.data.pop(key)
        if default is ...:
            found = ", ".join(str(name)[:40] for name in list(self.data)[:8])
            there = f"; there are: {found}" if found else ""
            raise self.error(f"{self.source}: [{self.where}] {key} is missing, and it is needed{there}")
        return default

    def text(self, key: str, default: Any = ..., allowed: tuple[str, ...] = ()) -> str:
        value = self.take(key, default)
        if not isinstance(value, str):
            raise self.wrong(key, f"is {shown(value)}", "text in quotes")
        if allowed and value not in allowed:
            raise self.wrong(key, f"is {shown(value)}", ", ".join(allowed))
        return value

    def texts(self, key: str, default: Any = ...) -> tuple[str, ...]:
        value = self.take(key, default)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.wrong(key, f"is {shown(value)}", "a list of texts in quotes")
        return tuple(value)

    def number(self, key: str, default: Any, least: float, most: float) -> float:
        value = self.take(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            raise self.wrong(key, f"is {shown(value)}", f"a number from {least:g} to {most:g}")
        return value

    def whole(self, key: str, default: Any, least: int, most: int) -> int:
        value = self.take(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.wrong(key, f"is {shown(value)}", f"a whole number from {least} to {most}")
        return value

    def yes(self, key: str, default: bool | None) -> bool:
        value = self.take(key, default)
        if not isinstance(value, bool):
            raise self.wrong(key, f"is {shown(value)}", "true or false")
        return value

    def address(self, key: str, default: Any = ...) -> int:
        value = self.take(key, default)
        number = parse_address(value) if isinstance(value, str) else None
        if number is None:
            raise self.wrong(key, f"is {shown(value)}", 'a hexadecimal address in quotes, "0000" to "FFFF"')
        return number

    def range(self) -> Range:
        first, last = self.address("first"), self.address("last")
        if last < first:
            raise self.wrong("last", f"is {hex4(last)}, below first", f"{hex4(first)} to FFFF")
        return Range(first, last)

    def table(self, key: str, where: str) -> Table:
        return Table(self.take(key, {}), self.source, where, self.error)

    def tables(self, key: str) -> list[Table]:
        value = self.take(key, [])
        if not isinstance(value, list):
            raise self.wrong(key, f"is {shown(value)}", f"[[{key}]] tables")
        return [Table(each, self.source, f"{key} {at}", self.error) for at, each in enumerate(value, 1)]

    def close(self) -> None:
        for key in self.data:
            raise self.wrong(key, "is not known", ", ".join(self.asked))


def text_of(path: Path, error: type[UsageError]) -> str:
    """A file's text. FileNotFoundError where there is none; `error` for a file that is no ordinary one, has
    more than LARGEST_FILE bytes (it is not read then), cannot be read, or is not UTF-8."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise error(f"{path}: is not an ordinary file")
        if status.st_size > LARGEST_FILE:
            raise error(f"{path}: has {status.st_size} bytes; allowed: at most {LARGEST_FILE}")
        with path.open("rb") as file:
            return file.read(LARGEST_FILE).decode("utf-8")
    except FileNotFoundError:
        raise
    except OSError as fault:
        raise error(f"{path}: cannot be read: {fault.strerror or fault}") from fault
    except UnicodeDecodeError as fault:
        raise error(f"{path}: is not plain text: byte {fault.start + 1} is no UTF-8") from fault
    except ValueError as fault:  # a NUL in the path
        raise error(f"{str(path)!r}: cannot be read: {fault}") from fault


def read_toml(text: str, source: str, error: type[UsageError]) -> dict[str, Any]:
    """A TOML text's keys and values; `error` with the source where it is none.

    tomllib lets two foreign errors through: ValueError for a number of thousands of digits, and
    RecursionError for brackets within brackets without end.
    """
    try:
        return tomllib.loads(text)
    except ValueError as fault:
        raise error(f"{source}: is not TOML: {fault}") from fault
    except RecursionError:
        raise error(f"{source}: is not TOML: brackets within brackets without end") from None


def shown(value: object) -> str:
    """A value as messages show it."""
    try:
        text = repr(value) if not isinstance(value, bool) else str(value).lower()
    except (RecursionError, ValueError):  # nested too deep, or a number with too many digits
        text = "..."
    return text if len(text) <= 60 else text[:57] + "..."


def parse_address(text: str) -> int | None:
    """`0280`, `$0280` or `0x280` as a number 0..FFFF; None for anything else."""
    match = re.fullmatch(r"(?:\$|0[xX])?([0-9A-Fa-f]{1,4})", text.strip())
    return int(match[1], 16) if match else None
