"""A simple model of what a monitor does with deposit lines, written from the dialect's description in
plain words and sharing no code with linktool.dialect or linktool.plan. It keeps memory as a dict."""

from __future__ import annotations

import re


class ColonModel:
    """`AAAA:BB BB` deposits; `:BB` goes on; hex digits of which the last count; at most `limit` keys."""

    def __init__(self, limit: int = 127) -> None:
        self.memory: dict[int, int] = {}
        self.place = 0
        self.limit = limit

    def line(self, text: str) -> None:
        assert len(text) <= self.limit, f"line of {len(text)} keys"
        match = re.fullmatch(r" *([0-9A-F]*) *:((?: *[0-9A-F]+)+) *", text)
        assert match, f"not a deposit line: {text!r}"
        if match[1]:
            self.place = int(match[1], 16) % 0x10000
        for word in match[2].split():
            self.memory[self.place] = int(word, 16) % 0x100
            self.place = (self.place + 1) % 0x10000


class LetterModel:
    """`S AAAA BB BB` stores; every byte has two digits, every address four; no line goes on."""

    def __init__(self, limit: int = 40) -> None:
        self.memory: dict[int, int] = {}
        self.limit = limit

    def line(self, text: str) -> None:
        assert len(text) <= self.limit, f"line of {len(text)} keys"
        match = re.fullmatch(r"S ([0-9A-F]{4})((?: [0-9A-F]{2})+)", text)
        assert match, f"not a store line: {text!r}"
        for place, word in enumerate(match[2].split(), int(match[1], 16)):
            self.memory[place] = int(word, 16)
