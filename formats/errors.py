"""The one error a format raises: where it stands, what was found, what was expected, what to do.

Readers raise it for input they refuse and writers for images they cannot hold.
Warnings are sentences returned beside an image (formats/reading.py), never raised or printed here.
"""

from __future__ import annotations


class FormatError(Exception):
    """A file or an image that a format refuses.

    source    name of the file or stream, as the user gave it
    place     "line 12", "record 3", "address 0280" or "" where the whole file is meant
    found     what is there
    expected  what should be there
    hint      what the user can do; may be empty
    """

    def __init__(self, source: str, place: str, found: str, expected: str = "", hint: str = "") -> None:
        self.source = source
        self.place = place
        self.found = found
        self.expected = expected
        self.hint = hint
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """The whole error as one line of text."""
        where = ", ".join(part for part in (self.source, self.place) if part)
        text = f"{where}: {self.found}" if where else self.found
        if self.expected:
            text += f"; expected {self.expected}"
        if self.hint:
            text += f". {self.hint}"
        return text
