"""Judge what a program printed, by what its description says it may print and what that means.

The text is taken as it came over the link, from the program's first character to whatever the
monitor printed when the program ended. New lines in any form, blanks at the ends of lines, empty
lines at both ends and the monitor's prompt do not count; everything else does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from linktool.expression import value_of
from linktool.program import Outcome
from linktool.program_build import Built
from linktool.screen_text import block, keeping, matching, sample, sentence


@dataclass(frozen=True)
class Verdict:
    """Whether the program printed what a machine in order makes it print, and a sentence on it.

    findings  the values a known fault's lines give, one mapping a line ("address", "expected",
              "found"...); empty otherwise
    known     the description names this outcome; False where the text fits none of them
    """

    ok: bool
    sentence: str
    findings: tuple[Mapping[str, int], ...] = ()
    known: bool = True


def judge(built: Built, printed: str) -> Verdict:
    """What `printed` says about the machine."""
    readings = _readings(printed, built.machine.dialect.ready)
    for outcome in built.program.outcomes:
        for text in readings:
            kept = _kept(outcome, built, text)
            if kept is not None:
                says = sentence(outcome.says, built.scene, kept[0], more=len(kept) - 1)
                return Verdict(outcome.ok, says, () if outcome.ok else tuple(map(_numbers, kept)))
    return Verdict(False, _difference(built, readings[-1]), known=False)


def expected_screen(built: Built) -> tuple[str, ...]:
    """What a machine in order shows, broken into lines as its screen breaks them; a dot stands for each
    character that cannot be known."""
    columns = built.machine.screen.columns
    lines = sample(_raw(built.program.good_outcome(), built)).split("\n")
    return tuple(line[at : at + columns] for line in lines for at in range(0, max(len(line), 1), columns))


def _readings(printed: str, ready: str) -> tuple[str, ...]:
    """The text as it stands, and without the monitor's prompt where that may be its end."""
    text = _plain(printed)
    prompt = _plain(ready)
    if prompt and text.endswith(prompt):
        return text, _plain(text.removesuffix(prompt))
    return (text,)


def _plain(text: str) -> str:
    lines = re.split(r"\r\n|\r|\n", text)
    return "\n".join(line.rstrip(" ") for line in lines).strip("\n")


def _kept(outcome: Outcome, built: Built, text: str) -> list[dict[str, str]] | None:
    """What the text's captures hold, a mapping for each line that can repeat; None where it does not fit."""
    if outcome.repeats:
        line = re.compile(keeping(outcome.prints[0], built.scene))
        matches = [line.fullmatch(each) for each in text.split("\n")]
        return [match.groupdict() for match in matches if match] if all(matches) else None
    if value_of(outcome.times, built.values) == 1:
        match = re.fullmatch("\n".join(keeping(line, built.scene) for line in outcome.prints), text)
    else:
        match = re.fullmatch(matching(_raw(outcome, built)), text)
    return None if match is None else [match.groupdict()]


def _numbers(kept: Mapping[str, str]) -> dict[str, int]:
    return {name: int(text, 16) for name, text in kept.items() if re.fullmatch("[0-9A-F]+", text)}


def _raw(outcome: Outcome, built: Built) -> str:
    return _plain(block(outcome.prints, value_of(outcome.times, built.values), built.scene))


def _difference(built: Built, text: str) -> str:
    """The first line in which the text is not what a machine in order shows."""
    wanted = _raw(built.program.good_outcome(), built).split("\n")
    if not text:
        return f"it printed nothing; expected: {_short(wanted[0])}"
    found = text.split("\n")
    for number, (is_there, should_be) in enumerate(zip(found, wanted, strict=False), 1):
        if not re.fullmatch(matching(should_be), is_there):
            at, found_there, wanted_there = _apart(is_there, should_be)
            place = f"line {number} from character {at + 1} on" if at else f"line {number}"
            return f"{place} reads {found_there}; expected: {wanted_there}"
    if len(found) < len(wanted):
        return f"it stopped after line {len(found)}; next should come: {_short(wanted[len(found)])}"
    return f"line {len(wanted) + 1} reads {_short(found[len(wanted)])}; expected: nothing more"


def _short(line: str) -> str:
    line = sample(line)
    return f'"{line}"' if len(line) <= LONG else f'"{line[: LONG - 3]}..."'


LONG, BEFORE = 60, 8
"""A line longer than LONG is shown from BEFORE characters before the first one that differs."""


def _apart(is_there: str, should_be: str) -> tuple[int, str, str]:
    """Both lines, and 0; or, where one is long, the parts of both that differ, and where they begin."""
    if len(is_there) <= LONG and len(sample(should_be)) <= LONG:
        return 0, _short(is_there), _short(should_be)
    at = 0
    while at < len(is_there) and re.fullmatch(matching(should_be[: at + 1]), is_there[: at + 1]):
        at += 1
    first = max(0, at - BEFORE)
    return first, _short(is_there[first:]), _short(should_be[first:])
