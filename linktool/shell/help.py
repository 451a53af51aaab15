"""Help that fits a screen: all verbs, as much of each as there is room for; one verb with an example."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from linktool.arguments import Argument
from linktool.commands import COMMON, Command
from linktool.shell.reading import places_of

FIRST = (
    ("setup", "meet the machine and write its profile"),
    ("enter FILE", "type an image in, and prove it"),
    ("run", "start it"),
    ("check", "compare memory with it"),
    ("read 0280-02FF", "look at memory"),
    ("talk", "speak to the machine yourself"),
)
END = "`help VERB` explains one, with an example. Tab completes. `quit` leaves."


def overview(verbs: Sequence[Command], columns: int, rows: int) -> list[str]:
    """All verbs, a line each where the terminal is tall enough, else in a paragraph below the first few."""
    end = textwrap.wrap(END, columns)
    if len(verbs) + len(end) + 3 <= rows:  # an empty line, and two for the prompt
        return [*(_short(f"{verb.name:<10} {verb.summary}", columns) for verb in verbs), "", *end]
    known = {verb.name for verb in verbs}
    first = [f"  {words:<16} {meaning}" for words, meaning in FIRST if words.partition(" ")[0] in known]
    names = textwrap.wrap(" ".join(sorted(known)), columns - 2)
    return [
        "To begin with:",
        *(_short(line, columns) for line in first),
        "",
        "All verbs:",
        *(f"  {line}" for line in names),
        "",
        *end,
    ]


def of_verb(verb: Command, columns: int) -> list[str]:
    """One verb: how it is written, what each argument is, and an example that works."""
    options = [argument for argument in verb.arguments if argument.is_option]
    words = [verb.name, *(_place(argument) for argument in places_of(verb))]
    if options:
        words.append("[OPTIONS]")
    lines = [" ".join(words), *textwrap.wrap(verb.summary[0].upper() + verb.summary[1:] + ".", columns), ""]
    for argument in (*places_of(verb), *options):
        lines += _argument(argument, columns)
    if verb.arguments:
        lines.append("")
    common = f"Also {', '.join(option.name for option in COMMON)}." if verb.does else ""
    return [*lines, *([common] if common else []), *_wrapped(f"Example: {example(verb)}", columns, "", "  ")]


def example(verb: Command) -> str:
    """The verb's example as the shell takes it: the port is remembered there."""
    return (
        verb.example.removeprefix("linktool ").replace(" --port board:", "").replace(" --machine heron", "")
    )


def _place(argument: Argument) -> str:
    assert argument.kind is not None
    shown = argument.kind.shown + ("..." if argument.many else "")
    return shown if argument.needed else f"[{shown}]"


def _argument(argument: Argument, columns: int) -> list[str]:
    if argument.is_option:
        name = f"{argument.short}, {argument.name}" if argument.short else argument.name
        if argument.kind is not None:
            value = argument.kind.shown
            name += f" {value}" if argument.bare is ... else f" [{value}]"
    else:
        name = _place(argument)
    indent, text = " " * 22, argument.help
    if argument.is_option and argument.default is not None:
        text += f"; {argument.default:g}" if isinstance(argument.default, float) else f"; {argument.default}"
        text += " if not given"
    if len(name) > 18:
        return [f"  {name}", *_wrapped(text, columns, indent, indent)]
    return _wrapped(text, columns, f"  {name:<20}", indent)


def _wrapped(text: str, columns: int, first: str, rest: str) -> list[str]:
    """Broken between words; names with a hyphen in them stay whole."""
    return textwrap.wrap(
        text,
        columns,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _short(line: str, columns: int) -> str:
    return line if len(line) <= columns else line[: columns - 3].rstrip() + "..."
