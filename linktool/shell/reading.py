"""The words of a shell line as the values of a command, by the one table of commands.

The same words give the same values as on the command line. What is needed and missing is looked for in
`held` (what the shell remembers) before it is an error.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

from linktool.arguments import Argument, File
from linktool.commands import COMMON, Command, Values, settle_ports
from linktool.errors import UsageError
from linktool.spelling import did_you_mean


def read_words(command: Command, words: list[str], held: Mapping[str, Any] | None = None) -> Values:
    """The values of `command`, the common ones among them. UsageError with what is wrong and what to do."""
    arguments = (*command.arguments, *COMMON)
    reader = _Reader(command, {name: each for each in arguments for name in _names(each)})
    reader.read(words)
    values = settle_ports(reader.values(held or {}), None)
    if values.get("bench"):
        raise UsageError("the shell speaks to one board", "--bench is for the command line")
    return values


def options_of(command: Command) -> dict[str, Argument]:
    """Every option by each of its names."""
    options = (each for each in (*command.arguments, *COMMON) if each.is_option)
    return {name: each for each in options for name in _names(each)}


def places_of(command: Command) -> tuple[Argument, ...]:
    """The arguments that are no options, in order."""
    return tuple(each for each in command.arguments if not each.is_option)


def _names(argument: Argument) -> tuple[str, ...]:
    return (argument.name, argument.short) if argument.short else (argument.name,)


class _Reader:
    def __init__(self, command: Command, arguments: Mapping[str, Argument]) -> None:
        self.command, self.arguments = command, arguments
        self.options = options_of(command)
        self.given: dict[str, Any] = {}
        self.loose: list[str] = []

    def read(self, words: list[str]) -> None:
        left = list(words)
        while left:
            word = left.pop(0)
            if word == "--":
                self.loose += left
                return
            if len(word) > 1 and word.startswith("-"):
                self._option(word, left)
            else:
                self.loose.append(word)

    def _option(self, word: str, left: list[str]) -> None:
        name, equals, text = word.partition("=")
        option = self.options.get(name)
        if option is None:
            meant = did_you_mean(name, self.options)
            raise UsageError(f"{self.command.name} has no option {name}", f"{meant}{self._see()}")
        if option.kind is None:
            if equals:
                raise UsageError(f"{name} takes no value", self._see())
            self.given[option.key] = True
            return
        if equals:
            value = _parsed(option, text)
        elif option.bare is not ...:
            value = self._perhaps(option, left)
        elif left and not (len(left[0]) > 1 and left[0].startswith("-")):
            value = _parsed(option, left.pop(0))
        else:
            raise UsageError(f"{name} needs a value: {option.kind.shown}", self._see())
        self.given[option.key] = [*self.given.get(option.key, []), value] if option.many else value

    def _perhaps(self, option: Argument, left: list[str]) -> Any:
        """The value of an option that may stand alone: the next word if it will do as one."""
        if left and not left[0].startswith("-"):
            try:
                value = _parsed(option, left[0])
            except UsageError:
                return option.bare
            left.pop(0)
            return value
        return option.bare

    def values(self, held: Mapping[str, Any]) -> Values:
        values: Values = {}
        for argument in self.arguments.values():
            if argument.is_option:
                default = False if argument.kind is None else argument.default
                values[argument.key] = self.given.get(argument.key, default)
        loose = list(self.loose)
        for place in places_of(self.command):
            texts = loose if place.many else loose[:1]
            loose = loose[len(texts) :]
            found = [_parsed(place, text) for text in texts]
            if found:
                values[place.key] = found if place.many else found[0]
            elif place.key in held:
                values[place.key] = held[place.key]
                values.update({k: v for k, v in held.items() if values.get(k) is None and k in values})
            elif place.needed:
                assert place.kind is not None
                raise UsageError(f"{self.command.name} needs {place.kind.shown}: {place.help}", self._see())
            else:
                values[place.key] = place.default
        if loose:
            raise UsageError(f"{loose[0]!r} is too much for {self.command.name}", self._see())
        return values

    def _see(self) -> str:
        return f"`help {self.command.name}` shows how"


def _parsed(argument: Argument, text: str) -> Any:
    assert argument.kind is not None
    if isinstance(argument.kind, File) and text.startswith("~"):
        text = os.path.expanduser(text)  # no other program has done it for us
    return argument.kind.parse(text)
