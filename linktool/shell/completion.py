"""What may stand at the cursor: verbs, options, and what each argument's type completes. Pure but for the
lists that `known` gives, which never touch a port."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from linktool.arguments import Argument, File, Kind, Known
from linktool.commands import Command
from linktool.shell.line import QUOTES, Word, quoted, split
from linktool.shell.reading import options_of, places_of


@dataclass(frozen=True)
class Candidate:
    """text: the whole word as it would stand in the line. help: one line about it. final: a blank may
    follow; a folder's name is not final."""

    text: str
    help: str = ""
    final: bool = True


@dataclass(frozen=True)
class Completion:
    """Candidates for what begins at `start` in the line."""

    start: int
    candidates: tuple[Candidate, ...] = ()


def complete(line: str, verbs: Sequence[Command], known: Callable[[Kind], Known]) -> Completion:
    """What may stand at the end of `line`, which is the text before the cursor."""
    found = split(line)
    tail = line[found[-1].end :] if found else line
    if tail.strip():
        return Completion(len(line))  # in a comment
    if found and not tail:
        before, word = found[:-1], found[-1]
    else:
        before, word = found, Word("", len(line), len(line))
    if not before:
        starts = [Candidate(verb.name, verb.summary) for verb in verbs if verb.name.startswith(word.text)]
        return Completion(word.start, tuple(starts))
    verb = next((verb for verb in verbs if verb.name == before[0].text), None)
    if verb is None:
        return Completion(word.start)
    return _argument(verb, before[1:], word, known)


def _argument(
    verb: Command, before: Sequence[Word], word: Word, known: Callable[[Kind], Known]
) -> Completion:
    options = options_of(verb)
    places, waiting, given = 0, None, set()
    for each in before:
        option = options.get(each.text.partition("=")[0]) if each.text.startswith("-") else None
        if option is not None:
            given.add(option.key)
            waiting = option if option.kind is not None and "=" not in each.text else None
        elif waiting is not None:
            waiting = None
        else:
            places += 1
    if word.text.startswith("-") and not word.quote and (waiting is None or waiting.bare is not ...):
        name, equals, text = word.text.partition("=")
        option = options.get(name)
        if equals and option is not None and option.kind is not None:
            return Completion(word.start + len(name) + 1, _of_kind(option.kind, text, "", known))
        return Completion(word.start, _options(options, given, word.text))
    found: tuple[Candidate, ...] = ()
    if waiting is not None and waiting.kind is not None:
        found = _of_kind(waiting.kind, word.text, word.quote, known)
        if waiting.bare is ...:
            return Completion(word.start, found)
    there = places_of(verb)
    place = there[min(places, len(there) - 1)] if there else None
    if place is not None and place.kind is not None and (places < len(there) or place.many):
        found += _of_kind(place.kind, word.text, word.quote, known)
    return Completion(word.start, found)


def _options(options: dict[str, Argument], given: set[str], start: str) -> tuple[Candidate, ...]:
    return tuple(
        Candidate(name, option.help)
        for name, option in options.items()
        if name.startswith(start) and (option.many or option.key not in given)
    )


def _of_kind(kind: Kind, start: str, quote: str, known: Callable[[Kind], Known]) -> tuple[Candidate, ...]:
    found = []
    for text in kind.complete(start, known(kind)):
        folder = isinstance(kind, File) and text.endswith(("/", "\\"))
        word = quoted(text)
        if quote and quote not in text:
            word = f"{quote}{text}{quote}"
        if folder and word[0] in QUOTES:
            word = word[:-1]  # the quote stays open: more of the path follows
        found.append(Candidate(word, "", not folder))
    return tuple(found)
