"""The command line: builds its parser from the command table, runs one command, ends with its status.

Imports no port, no processor and no shell before a command needs them.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import Any, NoReturn

from linktool import VERSION
from linktool.arguments import Argument
from linktool.commands import COMMANDS, COMMON, Command, Values, find, settle_ports
from linktool.errors import STOPPED, LinktoolError, UsageError
from linktool.spelling import did_you_mean


class _Parser(argparse.ArgumentParser):
    """Errors as our own, so that they are shown, and ended, like all others."""

    def error(self, message: str) -> NoReturn:
        unknown = re.match(r"argument COMMAND: invalid choice: '([^']*)'", message)
        if unknown:
            meant = did_you_mean(unknown[1].lower(), (each.name for each in COMMANDS))
            raise UsageError(f"there is no command {unknown[1]!r}", f"{meant}`linktool --help` lists them")
        raise UsageError(message, f"`{self.prog} --help` shows how")


class _Help(argparse.HelpFormatter):
    """Names with a hyphen in them stay whole."""

    def _split_lines(self, text: str, width: int) -> list[str]:
        return textwrap.wrap(" ".join(text.split()), width, break_on_hyphens=False)


class _CommandParser(_Parser):
    """One command's parser. Options may stand between its words too: `programs test --port board: march`.
    Not where -- ends the options: argparse loses it then."""

    _within = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        if self._within or "--" in (args or ()):
            return super().parse_known_args(args, namespace)
        self._within = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._within = False


class _Parsed(argparse.Action):
    """Hands the text to the argument's own type."""

    def __init__(self, *args: Any, argument: Argument, **kwargs: Any) -> None:
        self.argument = argument
        super().__init__(*args, **kwargs)

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: Any, option: Any = None
    ) -> None:
        argument, kind = self.argument, self.argument.kind
        assert kind is not None
        if isinstance(values, list):
            value: Any = [kind.parse(text) for text in values]
            if not argument.is_option and not value and not argument.needed:
                value = argument.default
        else:
            value = values if values is argument.bare or values is None else kind.parse(values)
        if argument.is_option and argument.many:
            value = [*(getattr(namespace, self.dest, None) or []), value]
        setattr(namespace, self.dest, value)


def build_parser() -> argparse.ArgumentParser:
    """The parser for the whole table."""
    top = _Parser(
        prog="linktool",
        description="Types programs into a small 6502 board through its ROM monitor, reads them back "
        "and proves them. Without a command it opens the shell.",
        epilog="`linktool COMMAND --help` explains one command. Exit status: 0 done and proven, "
        "1 differences remain, 2 bad input, nothing was sent, 3 the link failed, 130 stopped.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"linktool {VERSION}")
    for argument in COMMON:
        _add(top, argument)
    choices = top.add_subparsers(dest="command", metavar="COMMAND", parser_class=_CommandParser)
    for command in COMMANDS:
        sub = choices.add_parser(
            command.name,
            help=command.summary,
            description=command.summary[0].upper() + command.summary[1:] + ".",
            epilog=f"Example: {command.example}",
            formatter_class=_Help,
            allow_abbrev=False,
        )
        for argument in command.arguments:
            _add(sub, argument)
        for argument in COMMON:
            _add(sub, argument, again=True)
    return top


def _add(parser: argparse.ArgumentParser, argument: Argument, again: bool = False) -> None:
    names = [argument.name, argument.short] if argument.short else [argument.name]
    default = argparse.SUPPRESS if again else argument.default
    if argument.kind is None:
        switch: Any = argparse.SUPPRESS if again else False
        parser.add_argument(
            *names, dest=argument.key, action="store_true", default=switch, help=argument.help
        )
        return
    settings: dict[str, Any] = {
        "action": _Parsed,
        "argument": argument,
        "metavar": argument.kind.shown,
        "help": argument.help,
        "default": default,
    }
    if argument.is_option:
        settings["dest"] = argument.key
        if argument.bare is not ...:
            settings.update(nargs="?", const=argument.bare)
    else:
        one, several = (None, "+") if argument.needed else ("?", "*")
        settings["nargs"] = several if argument.many else one
    parser.add_argument(*names, **settings)


def console() -> int:
    """What the installed command calls: `main`, and under it a net for what should never happen."""
    try:
        return main()
    except Exception as error:
        from linktool.folders import folders
        from linktool.own_fault import kept

        return _complain(kept(error, folders().state), "--json" in sys.argv, None)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    wants_json = "--json" in words
    command = None
    try:
        values: Values = vars(build_parser().parse_args(words))
        command = find(values.pop("command"))
        values = settle_ports(values, command)
    except LinktoolError as error:
        return _complain(error, wants_json, command)
    from linktool.bench import Bench

    if command is None:
        from linktool.shell import open_shell

        return open_shell(Bench.from_values(values))
    return run_command(command, values)


def run_command(command: Command, values: Values) -> int:
    """One command on a bench of its own."""
    from formats.errors import FormatError
    from linktool.bench import Bench
    from linktool.render.progress import Progress
    from linktool.render.terminal import Terminal

    bench, report = None, None
    try:
        if len(values["ports"]) > 1 or values.get("bench"):
            return _run_several(command, values)
        bench = Bench.from_values(values)
        progress = Progress(lambda: bench.talk if bench else None)
        bench.watch, bench.tick = progress.watch, progress.tick
        try:
            report = command.run(bench, values)
        finally:
            progress.end()
        if values["trace"] and bench.port is None:
            bench.warn(f"no port was opened, so nothing was written to {values['trace']}")
        bench.close()
        Terminal(values["json"]).show(report)
        sys.stdout.flush()
        return int(report.exit_status)
    except (LinktoolError, FormatError) as error:
        return _complain(error, bool(values["json"]), command)
    except KeyboardInterrupt:
        return _complain(LinktoolError("stopped"), bool(values["json"]), command, STOPPED)
    except BrokenPipeError:
        _read_no_more()
        return STOPPED if report is None else int(report.exit_status)
    finally:
        if bench is not None:
            bench.close()


def _read_no_more() -> None:
    """Whoever read our output has gone, as in `| head`: what is left goes nowhere, without a word."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _run_several(command: Command, values: Values) -> int:
    """One command on several boards at once, each with a bench of its own."""
    from linktool.bench_file import places
    from linktool.render.several_progress import SeveralProgress
    from linktool.render.terminal import Terminal
    from linktool.side_by_side import run_several

    boards = places(values["ports"], values.get("bench"))
    progress = SeveralProgress([board.label for board in boards])
    shown = not values["json"]
    try:
        report = run_several(
            command, values, boards, progress.noted if shown else None, progress.ended if shown else None
        )
    finally:
        progress.clear()
    Terminal(values["json"]).show(report)
    return report.exit_status


def _complain(error: Exception, wants_json: bool, command: Command | None, status: int | None = None) -> int:
    from linktool.render.terminal import Terminal

    return Terminal(wants_json).complain(error, command.name if command else "", status)


if __name__ == "__main__":
    sys.exit(console())
