"""The arguments of a fault's spec, taken one by one. What does not fit is a UsageError that names the spec.

Addresses and ranges are hexadecimal (0280, 0280-02FF), bits are 0 to 7, address lines 0 to 15,
probabilities 0 to 1; a moment is seconds (2.5s) or a count of keys the host has sent (200).
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import Literal, NoReturn

from formats.image import Range
from linktool.board.memory_faults import Bit
from linktool.errors import UsageError
from linktool.machine import Machine
from linktool.toml_table import parse_address


@dataclass(frozen=True)
class Moment:
    """When something happens: seconds on the board's clock, or after so many keys sent by the host."""

    at_s: float | None = None
    keys: int | None = None


class Arguments:
    """One spec's words, with the form and the text of its kind for what is said of a wrong one."""

    def __init__(self, spec: str, form: str, text: str, machine: Machine, seed: str) -> None:
        self.spec, self.form, self.text, self.machine = spec, form, text, machine
        self.words = spec.split(":")[1:]
        self.random = Random(f"{seed}:{self.spec}")

    def wrong(self, found: str, allowed: str) -> NoReturn:
        raise UsageError(
            f"fault {self.spec!r}: {found}; allowed: {allowed}",
            f"It is written {self.form}: {self.text}",
        )

    def word(self, what: str) -> str:
        if not self.words:
            self.wrong(f"{what} is missing", self.form)
        return self.words.pop(0)

    def choice(self, what: str, *allowed: str) -> str:
        word = self.word(what)
        if word not in allowed:
            self.wrong(f"{what} is {word!r}", ", ".join(allowed))
        return word

    def level(self, what: str = "the value") -> bool:
        return self.choice(what, "0", "1") == "1"

    def wired(self) -> Literal["and", "or"]:
        return "or" if self.words and self.choice("the wiring", "and", "or") == "or" else "and"

    def whole(self, what: str, most: int) -> int:
        word = self.word(what)
        if not word.isascii() or not word.isdigit() or int(word) > most:
            self.wrong(f"{what} is {word!r}", f"0 to {most}")
        return int(word)

    def bit(self, what: str = "the bit") -> int:
        return 1 << self.whole(what, 7)

    def line(self) -> int:
        return 1 << self.whole("the address line", 15)

    def number(self, what: str, least: float, most: float, word: str = "") -> float:
        word = word or self.word(what)
        try:
            value = float(word)
        except ValueError:
            value = -1.0
        if not least <= value <= most:
            self.wrong(f"{what} is {word!r}", f"a number from {least:g} to {most:g}")
        return value

    def probability(self) -> float:
        return self.number("the probability", 0, 1)

    def seconds(self) -> float:
        return self.number("the time", 0, 1e6, self.word("the time").removesuffix("s"))

    def address(self, word: str = "") -> int:
        word = word or self.word("the address")
        value = parse_address(word)
        if value is None:
            self.wrong(f"{word!r} is no address", "0000 to FFFF, hexadecimal")
        return value

    def range(self) -> Range:
        word = self.word("the range")
        first, separator, last = word.partition("-")
        start = self.address(first)
        end = self.address(last) if separator else start
        if end < start:
            self.wrong(f"range {word} runs backwards", "first-last, or one address")
        return Range(start, end)

    def ram(self) -> Range:
        """A range, or all of the machine's RAM when none is given."""
        if self.words and self.words[0] not in ("and", "or"):
            return self.range()
        areas = [area.range for area in self.machine.areas if area.kind == "ram"]
        if not areas:
            self.wrong("the machine has no RAM", "a range")
        return Range(min(a.first for a in areas), max(a.last for a in areas))

    def place(self, what: str) -> Bit:
        word = self.word(what)
        address, separator, bit = word.partition(".")
        if not separator or bit not in tuple("01234567"):
            self.wrong(f"{what} is {word!r}", "ADDRESS.BIT, such as 0280.3")
        return Bit(self.address(address), 1 << int(bit))

    def byte(self) -> int:
        word = self.word("the value")
        value = parse_address(word)
        if value is None or value > 0xFF:
            self.wrong(f"the value is {word!r}", "00 to FF, hexadecimal")
        return value

    def moment(self) -> Moment:
        word = self.word("the moment")
        if word.endswith("s"):
            return Moment(at_s=self.number("the moment", 0, 1e6, word[:-1]))
        if not word.isascii() or not word.isdigit():
            self.wrong(f"the moment is {word!r}", "seconds such as 2.5s, or a count of keys such as 200")
        return Moment(keys=int(word))

    def close(self) -> None:
        if self.words:
            self.wrong(f"{self.words[0]!r} is too much", self.form)
