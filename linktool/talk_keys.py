"""What the keys a person strikes in `talk` mean: sent to the machine, a key asked for by name, or leave.

RETURN is the machine's end key and BACKSPACE its rubout key, as far as it has one; ESC and the CTRL keys go
as they are. NAMED_KEY begins a name, which RETURN ends. Pure: characters in, what to do out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from linktool.dialect import key_bytes
from linktool.errors import UsageError
from linktool.key_names import key_named, own_keys, printed
from linktool.machine import Machine

LEAVE = "\x1d"
NAMED_KEY = "\x0b"


@dataclass(frozen=True)
class Strike:
    """Keys for the machine."""

    keys: str


@dataclass(frozen=True)
class Say:
    """Something to tell the person."""

    text: str


@dataclass(frozen=True)
class Leave:
    """The end of the talk; rest: characters after it, which are not for the machine."""

    rest: str = ""


Meaning: TypeAlias = Strike | Say | Leave


def guide(machine: Machine) -> str:
    """What is shown on entering."""
    names = ", ".join(own_keys(machine))
    return f"{printed(LEAVE)} leaves, {printed(NAMED_KEY)} strikes a key by its name: {names}."


class TalkKeys:
    """Knows whether a name is being given."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._name: str | None = None
        self._after_return = False

    def read(self, text: str) -> list[Meaning]:
        """What these characters mean, in order; nothing after a Leave."""
        meant: list[Meaning] = []
        for at, character in enumerate(text):
            if character == LEAVE and self._name is None:
                return [*meant, Leave(text[at + 1 :])]
            skipped = character == "\n" and self._after_return
            self._after_return = character == "\r"
            if not skipped:
                meant.append(self._named(character) if self._name is not None else self._plain(character))
        return [each for each in meant if each not in (Say(""), Strike(""))]

    def _plain(self, character: str) -> Meaning:
        dialect = self._machine.dialect
        if character == NAMED_KEY:
            self._name = ""
            return Say(f"\n[key: {', '.join(own_keys(self._machine))}, ctrl-c, 1B...] ")
        if character in "\r\n":
            return Strike(dialect.end_key)
        if character in "\b\x7f":
            return Strike(dialect.rubout_key or character)
        try:
            key_bytes(character, self._machine.keys.fold, False)
        except ValueError as error:
            return Say(f"\n[{error}: not sent]\n")
        return Strike(character)

    def _named(self, character: str) -> Meaning:
        assert self._name is not None
        if character in "\r\n":
            name, self._name = self._name, None
            return self._struck(name) if name.strip() else Say("\n")
        if character in (LEAVE, "\x1b", NAMED_KEY):
            self._name = None
            return Say("\n")
        if character in "\b\x7f":
            if not self._name:
                return Say("")
            self._name = self._name[:-1]
            return Say("\b \b")
        if not character.isprintable():
            return Say("")
        self._name += character
        return Say(character)

    def _struck(self, name: str) -> Meaning:
        try:
            return Strike(key_named(name, self._machine))
        except UsageError as error:
            return Say(f"\n[{error}]\n")
