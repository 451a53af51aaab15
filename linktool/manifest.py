"""What program.toml says of a program: its question, what it needs, its parameters, what it should print.

TOML in, frozen dataclasses out. Errors name file, key and what is allowed. Values are expressions:
hex numbers with a dollar sign and names, joined by + and - ("$FF00+before", "last-first"). Names are
the program's parameters, the symbols it needs, and GIVEN, which linktool works out for every machine.
Assembling stands in library_build.py, comparing what a program printed in expectation.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from linktool.errors import UsageError
from linktool.expression import names_in
from linktool.program import Answer, Beat, Left, Outcome, Parameter, Program, Span
from linktool.screen_text import Field, FieldError, fields
from linktool.toml_table import Table, read_toml, shown

GIVEN = {
    "zp": "the first of the program's zero-page cells",
    "columns": "of the screen",
    "rows": "of the screen",
    "program_first": "address of the program's first byte",
    "program_last": "address of the program's last byte",
    "before": "low half of the address before the program",
    "free_first": "the largest stretch of RAM that is neither reserved nor the program's: its start",
    "free_last": "and its end",
    "io_first": "the first page that holds input or output registers",
    "io_last": "and the last one",
}
ENDS = ("monitor", "key", "reset")
NAME = re.compile(r"[a-z][a-z0-9-]{0,31}")
_SYMBOL = re.compile(r"[a-z][a-z0-9_]{0,31}")
T = TypeVar("T")


def parse(toml: str, toml_name: str, name: str, source: str, source_name: str) -> Program:
    """A program from its two files' texts. UsageError with file, key and what is allowed."""
    data = read_toml(toml, toml_name, UsageError)
    top = Table(data, toml_name, "top level", UsageError)
    place = top.table("place", "place")
    program = Program(
        name=name,
        title=_line(top, "title"),
        question=_line(top, "question"),
        text=top.text("text", ""),
        size=top.whole("size", 0, 0, 0x10000),
        ends=top.text("ends", allowed=ENDS),
        needs=top.texts("needs", []),
        zero_page=top.whole("zero_page", 0, 0, 256),
        cautions=top.texts("cautions", []),
        fixed=place.yes("fixed", False),
        one_page=place.yes("one_page", False),
        parameters=_each(top, "parameter", _parameter),
        reads=_each(top, "reads", _span),
        writes=_each(top, "writes", _span),
        leaves=_each(top, "leaves", _left),
        answers=_each(top, "answer", lambda table: Answer(table.text("after"), table.text("keys"))),
        outcomes=_each(top, "outcome", _outcome),
        cost=_cost(top.table("cost", "cost")),
        beat=_beat(top.table("beat", "beat")) if "beat" in data else None,
        source=source,
        source_name=source_name,
    )
    place.close()
    top.close()
    _cross_check(program, top)
    return program


def _line(table: Table, key: str) -> str:
    text = table.text(key)
    if not text.strip() or "\n" in text:
        raise table.wrong(key, f"is {shown(text)}", "one line of text")
    return text


def _each(top: Table, key: str, build: Callable[[Table], T]) -> tuple[T, ...]:
    built = []
    for table in top.tables(key):
        built.append(build(table))
        table.close()
    return tuple(built)


def _hex(table: Table, key: str, default: str, most: int) -> int:
    text = table.text(key, default)
    value = int(text, 16) if re.fullmatch(r"[0-9A-Fa-f]{1,4}", text) else -1
    if not 0 <= value <= most:
        raise table.wrong(key, f"is {shown(text)}", f"hex digits in quotes, at most {most:X}")
    return value


def _parameter(table: Table) -> Parameter:
    name = table.text("name")
    if not _SYMBOL.fullmatch(name) or name in GIVEN:
        allowed = "a-z, 0-9 and _, a letter first; not " + ", ".join(GIVEN)
        raise table.wrong("name", f"is {shown(name)}", allowed)
    digits = table.whole("digits", 4, 2, 4)
    if digits == 3:
        raise table.wrong("digits", "is 3", "2, 4")
    most = _hex(table, "most", "F" * digits, 16**digits - 1)
    least = _hex(table, "least", "0", most)
    return Parameter(name, _line(table, "title"), table.text("default"), digits, least, most)


def _span(table: Table) -> Span:
    step = table.text("step", "$1")
    return Span(table.text("first"), table.text("last"), step, table.yes("restores", False))


def _left(table: Table) -> Left:
    left = Left(table.text("first"), table.text("last"), table.text("value", ""), table.text("copy_of", ""))
    if bool(left.value) == bool(left.copy_of):
        raise table.wrong("value", "and copy_of stand together or are both missing", "one of the two")
    return left


def _outcome(table: Table) -> Outcome:
    outcome = Outcome(
        table.yes("ok", None), table.texts("prints"), _line(table, "says"), table.text("times", "$1"),
        table.yes("repeats", False),
    )  # fmt: skip
    if outcome.repeats and (len(outcome.prints) != 1 or outcome.times != "$1"):
        raise table.wrong("repeats", "is true", "true only with one line in prints, and without times")
    return outcome


def _cost(table: Table) -> Mapping[str, int]:
    return {name: table.whole(name, 0, 0, 1_000_000_000) for name in list(table.data)}


def _beat(table: Table) -> Beat:
    character = table.text("character")
    if not re.fullmatch("[!-_]", character):
        raise table.wrong("character", f"is {shown(character)}", "one printing character from ! to _")
    cycles, times = table.whole("cycles", ..., 20_000, 100_000_000), table.whole("times", ..., 3, 10_000)
    beat = Beat(character, cycles, times)
    table.close()
    return beat


def _cross_check(program: Program, top: Table) -> None:
    """Every name that is used must be one somebody gives."""
    for name in program.needs:
        if not _SYMBOL.fullmatch(name) or name in GIVEN:
            raise top.wrong("needs", f"names {shown(name)}", "symbols of a machine profile")
    own = [each.name for each in program.parameters]
    twice = next((name for name in own if own.count(name) > 1 or name in program.needs), None)
    if twice:
        raise top.wrong("parameter", f"{twice} is there twice", "a name once, in parameters and needs")
    for name in program.cost:
        if name not in ("fixed", "bytes", *own):
            raise top.wrong("cost", f"has {shown(name)}", ", ".join(["fixed", "bytes", *own]))
    if not program.outcomes:
        raise top.wrong("outcome", "is missing", "at least one [[outcome]] with ok, prints and says")
    known = (*own, *program.needs, *GIVEN)
    for where, expression in _expressions(program):
        _names_known(top, where, expression, known)
    for where, template, extra in _templates(program):
        try:
            for each in fields(template):
                if each.expression and each.expression not in extra:
                    _names_known(top, where, each.expression, known)
        except FieldError as error:
            raise top.wrong(where, f"has {shown(error.field)}", error.allowed) from None


def _names_known(top: Table, where: str, expression: str, known: tuple[str, ...]) -> None:
    try:
        unknown = [name for name in names_in(expression) if name not in known]
    except ValueError as error:
        raise top.wrong(where, f"has {error}", "names and $ hex numbers, joined by + and -") from None
    if unknown:
        raise top.wrong(where, f"names {unknown[0]}", ", ".join(known))


def _expressions(program: Program) -> Iterable[tuple[str, str]]:
    for parameter in program.parameters:
        yield "parameter", parameter.default
    for kind, spans in (("reads", program.reads), ("writes", program.writes)):
        for span in spans:
            yield from ((kind, text) for text in (span.first, span.last, span.step))
    for left in program.leaves:
        yield from (("leaves", text) for text in (left.first, left.last, left.value or left.copy_of))
    for outcome in program.outcomes:
        yield "outcome", outcome.times


def _templates(program: Program) -> Iterable[tuple[str, str, tuple[str, ...]]]:
    """(where, template, names it may use besides): what `prints` captures, `says` may name."""
    for answer in program.answers:
        yield from (("answer", text, ()) for text in (answer.after, answer.keys))
    for outcome in program.outcomes:
        captured = [each.capture or each.piece for line in outcome.prints for each in _quiet_fields(line)]
        for line in outcome.prints:
            yield "outcome", line, ()
        yield "outcome", outcome.says, (*(name for name in captured if name), "bits", "more")


def _quiet_fields(line: str) -> tuple[Field, ...]:
    try:
        return fields(line)
    except FieldError:
        return ()
