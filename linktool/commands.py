"""The one table of commands. The command line, the shell, help and completion derive from it.

A command names the function that does it ("module:function"), which is imported when it is used: so
help and completion load nothing else. The function takes a `Bench` and the parsed values and returns a
report; `render` makes words of it, and its `exit_status` is the command's.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from linktool.arguments import (
    Address,
    AreaName,
    Argument,
    Choice,
    Entrance,
    File,
    FormatName,
    MachineName,
    Moment,
    Number,
    PortName,
    RangeOf,
    Text,
)
from linktool.errors import LinkError, UsageError

if TYPE_CHECKING:
    from linktool.bench import Bench

Values = dict[str, Any]

COMMON = (
    Argument("--port", PortName(), "the port, or board: for the simulated board", many=True),
    Argument("--machine", MachineName(), "the machine's profile: a name, or a file"),
    Argument("--json", None, "print one JSON object, and nothing else, on standard output"),
    Argument("--trace", File(), "write every key and character with its time to a file"),
)

IMAGE = Argument("image", File(images=True), "a file, or a program of the library", many=True)
AT = Argument("--at", Address(), "the address to load at")
FORMAT = Argument(
    "--format",
    FormatName(),
    f"the file's format, when its name does not tell: {', '.join(FormatName().names)}",
)
SAVED_AS = Argument(
    "--to",
    FormatName(writing=True),
    f"the written file's format, when its name does not tell: {', '.join(FormatName(writing=True).names)}",
)
FORCE = Argument("--force", AreaName(), "allow one reserved area to be overwritten", many=True)
PERIOD = (
    Argument("--since", Moment(), "from then on: today, yesterday, a date, or date and time"),
    Argument("--until", Moment(), "up to then"),
)
SEVERAL = Argument(
    "--bench", File(), "a file that names several boards, all served at once; so does --port given again"
)
VIA = Argument(
    "--via",
    Choice(("auto", "typed", "receiver")),
    "typed, or sent to a routine put into the machine; auto: the faster",
    default="auto",
)
CHECK_VIA = Argument(
    "--via",
    Choice(("auto", "read", "checker")),
    "read back, or summed by a routine put into the machine; auto: by one that is there already",
    default="auto",
)
READ_VIA = Argument(
    "--via",
    Choice(("auto", "dump", "reader")),
    "dumped by the monitor, or printed densely by a routine put into the machine; auto: as for check",
    default="auto",
)


@dataclass(frozen=True)
class Command:
    """name; summary: one line; does: "module:function"; example: one that works; wire: talks to a port;
    logged: what it did may go into the bench log."""

    name: str
    summary: str
    does: str
    example: str
    arguments: tuple[Argument, ...] = ()
    wire: bool = False
    note: bool = False

    @property
    def several(self) -> bool:
        """Whether it can be carried out on several boards at once."""
        return SEVERAL in self.arguments

    @property
    def logged(self) -> bool:
        return self.wire or self.note

    def run(self, bench: Bench, values: Values) -> Any:
        """Carry it out; returns its report. Raises LinktoolError or FormatError."""
        module, function = self.does.split(":")
        action = cast("Callable[[Bench, Values], Any]", getattr(importlib.import_module(module), function))
        try:
            report = action(bench, values)
        except LinkError as error:
            bench.log(self.name, {"ok": False, "status": error.exit_status, "lost": str(error)})
            raise
        self._log(bench, values, report)
        return report

    def _log(self, bench: Bench, values: Values, report: Any) -> None:
        """What was done at the machine goes into the bench log."""
        if not self.logged:
            return
        from linktool.log_facts import facts_of

        facts = facts_of(report)
        if facts is not None:
            sources = values.get("image")
            bench.log(self.name, {"sources": sources, **facts} if sources else facts)


def settle_ports(values: Values, command: Command | None) -> Values:
    """Ports are given as a list: the values with `port`, the only one or None, and `ports`, all of them.
    UsageError where a command that takes one board is given several."""
    ports: list[str] = values["port"] or []
    if len(ports) > 1 and not (command and command.several):
        able = ", ".join(each.name for each in COMMANDS if each.several)
        what = f"{command.name} takes" if command else "the shell takes"
        raise UsageError(f"{what} one --port", f"Several boards at once: {able}")
    return {**values, "port": ports[0] if len(ports) == 1 else None, "ports": tuple(ports)}


COMMANDS: tuple[Command, ...] = (
    Command(
        "demo",
        "the whole job on the simulated board, told step by step",
        "linktool.verbs.demo:demo",
        "linktool demo",
    ),
    Command(
        "ports",
        "list the ports that are there",
        "linktool.verbs.listing:ports",
        "linktool ports",
    ),
    Command(
        "machines",
        "list the machine profiles, or show one",
        "linktool.verbs.listing:machines",
        "linktool machines heron",
        (Argument("name", MachineName("NAME"), "the profile to show", needed=False),),
    ),
    Command(
        "setup",
        "a guided first connection that writes a machine profile",
        "linktool.verbs.setup:setup",
        "linktool setup --port board:",
        (
            Argument("--name", Text("NAME"), "what to call the profile"),
            Argument("--yes", None, "take every suggestion without being asked"),
        ),
        wire=True,
    ),
    Command(
        "plan",
        "show the lines that would be typed, with keystrokes and seconds",
        "linktool.verbs.planning:plan",
        "linktool plan blink.hex --machine heron",
        (
            IMAGE,
            AT,
            FORMAT,
            Argument("--layout", Choice(("dense", "screen")), "few keys, or 8 bytes a line", default="dense"),
            FORCE,
        ),
    ),
    Command(
        "enter",
        "type an image in, read it back and prove it",
        "linktool.verbs.transfer:enter",
        "linktool enter blink.hex --port board: --run",
        (
            IMAGE,
            AT,
            FORMAT,
            Argument("--no-check", None, "do not read back; nothing is proven then"),
            Argument("--run", Entrance(), "start it when proven, at its start or at ADDRESS", bare="start"),
            Argument("--watch", Number("SECONDS", 0, 86400), "with --run: show what it prints", default=5.0),
            VIA,
            FORCE,
            SEVERAL,
        ),
        wire=True,
    ),
    Command(
        "check",
        "read an image's addresses back and compare",
        "linktool.verbs.transfer:check",
        "linktool check blink.hex --port board:",
        (IMAGE, AT, FORMAT, CHECK_VIA, SEVERAL),
        wire=True,
    ),
    Command(
        "read",
        "examine memory, and save it",
        "linktool.verbs.disassembly:read",
        "linktool read 0280-02FF -o saved.hex --port board:",
        (
            Argument("range", RangeOf(), "what to read", many=True),
            Argument("--as", Choice(("hex", "code")), "show bytes, or instructions", default="hex"),
            READ_VIA,
            Argument("--output", File(), "save to a file, in any format", short="-o"),
            SAVED_AS,
            Argument("--overwrite", None, "let --output replace a file that is there"),
        ),
        wire=True,
    ),
    Command(
        "run",
        "start a program, and show what it prints",
        "linktool.verbs.transfer:run",
        "linktool run 0280 --watch 5 --port board:",
        (
            Argument("address", Entrance(), "an address, a symbol of the machine, or a program's name"),
            Argument("--watch", Number("SECONDS", 0, 86400), "how long to show what it prints", default=5.0),
        ),
        wire=True,
    ),
    Command(
        "talk",
        "speak to the machine directly, key by key",
        "linktool.verbs.talking:talk",
        "linktool talk --port board:",
        (
            Argument("--output", File(), "write all that comes to a file as well", short="-o"),
            Argument("--overwrite", None, "let --output replace a file that is there"),
        ),
        wire=True,
    ),
    Command(
        "type",
        "type a text file line by line, a program listing say",
        "linktool.verbs.talking:type_text",
        "linktool type listing.txt --until READY --stop-on ERROR --port board:",
        (
            Argument("file", File(), "the text to type"),
            Argument("--until", Text("PROMPT"), "the prompt to wait for, when it is not the monitor's own"),
            Argument("--stop-on", Text("TEXT"), "stop where an answer holds this"),
            Argument("--cancel", Text("KEY"), "with --until: the key that drops a line, by name or code"),
            Argument("--from", Number("LINE", 1, 1e6, whole=True), "begin with this line", default=1),
            Argument("--wait", Number("SECONDS", 0.1, 3600), "how long an answer may take", default=10.0),
        ),
        wire=True,
    ),
    Command(
        "screen",
        "show what the machine's screen shows, as far as it came over the port",
        "linktool.verbs.talking:screen",
        "linktool screen --listen 5 --port board:",
        (
            Argument("--listen", Number("SECONDS", 0, 86400), "listen so long first"),
            Argument("--output", File(), "save it to a file", short="-o"),
            Argument("--overwrite", None, "let --output replace a file that is there"),
        ),
        wire=True,
    ),
    Command(
        "sheet",
        "a sheet for typing an image by hand, and the screen to expect",
        "linktool.verbs.sheet:sheet",
        "linktool sheet blink.hex --machine heron -o sheet.html",
        (
            IMAGE,
            AT,
            FORMAT,
            FORCE,
            Argument("--output", File(), "write it to a file: .html to print, else text", short="-o"),
            Argument("--overwrite", None, "let --output replace a file that is there"),
        ),
    ),
    Command(
        "programs",
        "the library of test programs: list, show, add, test",
        "linktool.verbs.programs:programs",
        "linktool programs test march --set first=1000 --set last=1FFF --port board:",
        (
            Argument("action", Choice(("list", "show", "add", "test")), "what to do", needed=False),
            Argument("name", File("NAME", images=True), "the program, or the file to add", needed=False),
            Argument("--all", None, "with test: every program, one after the other"),
            Argument("--set", Text("NAME=VALUE"), "a parameter of the program, hexadecimal", many=True),
            AT,
            FORCE,
            Argument("--as-name", Text("NAME"), "with add: what to call it"),
            Argument("--title", Text(), "with add: a few words"),
            Argument("--question", Text(), "with add: the question it answers"),
            Argument("--ends", Choice(("monitor", "key", "reset")), "with add: how it ends"),
            Argument("--expect", Text(), "with add: what it prints when all is well"),
            Argument("--overwrite", None, "let add replace a program that is there"),
            SEVERAL,
        ),
        wire=True,
    ),
    Command(
        "convert",
        "convert a file from one format to another",
        "linktool.verbs.converting:convert",
        "linktool convert blink.hex blink.bin",
        (
            Argument("source", File("IN"), "the file to read"),
            Argument("target", File("OUT"), "the file to write"),
            AT,
            FORMAT,
            SAVED_AS,
            Argument("--force", None, "let the target replace a file that is there"),
        ),
    ),
    Command(
        "survey",
        "find which memory answers, and compare with the profile",
        "linktool.verbs.surveying:survey",
        "linktool survey --port board:",
        (
            Argument("range", RangeOf(), "look at every page of these addresses", many=True, needed=False),
            Argument("--all", None, "look at all 256 pages, those where nothing should be too"),
            Argument("--touch-io", None, "also read pages with I/O registers; reading can change something"),
            Argument("--deep", None, "also march over RAM with programs; what is in it is lost"),
            Argument("--rom", File(), "read the ROM whole and compare it with a file"),
            Argument("--rom-crc32", Text("HEX"), "read the ROM whole and compare its CRC-32"),
            Argument("--at", Address(), "where the ROM's file belongs, when it does not tell"),
            Argument("--save", File(), "save what answers, to compare with later"),
            Argument("--compare", File(), "say what answers differently than in a saved survey"),
            Argument("--overwrite", None, "let --save replace a file that is there"),
            SEVERAL,
        ),
        wire=True,
    ),
    Command(
        "diagnose",
        "explain what was found, and name the chip where that can be told",
        "linktool.verbs.diagnosing:diagnose",
        "linktool diagnose 1000-1FFF --port board:fault=stuck-chip:K7:0",
        (
            Argument("range", RangeOf(), "test the banks of these addresses now", many=True, needed=False),
            Argument("--all", None, "test all banks of RAM now"),
        ),
        note=True,
    ),
    Command(
        "resume",
        "go on with what was interrupted, after proving what is there",
        "linktool.verbs.resuming:resume",
        "linktool resume --port /dev/ttyUSB0 --machine heron",
        (Argument("--drop", None, "forget what was interrupted, and do nothing"),),
        wire=True,
    ),
    Command(
        "map",
        "draw what is known of a machine's memory, from the bench log",
        "linktool.verbs.mapping:draw",
        "linktool map 1000-1FFF --machine heron",
        (Argument("range", RangeOf(), "draw these addresses, a sign for 16 bytes", needed=False),),
    ),
    Command(
        "note",
        "write a note into the bench log",
        "linktool.verbs.bookkeeping:note",
        'linktool note "K7 swapped with K6"',
        (Argument("text", Text("TEXT"), "what to write down", many=True),),
        note=True,
    ),
    Command(
        "log",
        "list what was done, with its proof, or show one entry whole",
        "linktool.verbs.bookkeeping:log",
        "linktool log --since today",
        (
            Argument("number", Number("NUMBER", 1, 10_000_000, whole=True), "show this entry", needed=False),
            Argument("--last", Number("COUNT", 1, 1_000_000, whole=True), "the last so many", default=40),
            *PERIOD,
            Argument("--only", Text("COMMAND"), "entries of one command"),
            Argument("--find", Text("TEXT"), "entries with this text in them"),
        ),
    ),
    Command(
        "report",
        "write a page of what was done, with maps, faults and notes",
        "linktool.verbs.bookkeeping:report",
        "linktool report -o evening.html --since today",
        (
            Argument("--output", File(), "the page: .html or .md", short="-o"),
            *PERIOD,
            Argument("--title", Text("TITLE"), "its title"),
            Argument("--overwrite", None, "let --output replace a file that is there"),
        ),
    ),
    Command(
        "trace",
        "show a trace file: every key and character with its time",
        "linktool.verbs.tracing:trace",
        "linktool trace show talk.trace",
        (
            Argument("action", Choice(("show",)), "what to do with it"),
            Argument("file", File(), "a file that --trace wrote"),
        ),
    ),
    Command(
        "board",
        "serve the simulated board to any program",
        "linktool.verbs.serving:board",
        "linktool board --serve tcp:127.0.0.1:0",
        (
            Argument("--serve", Text("WHERE"), "pty, or tcp:ADDRESS:NUMBER", default="tcp:127.0.0.1:0"),
            Argument("--fault", Text("FAULT"), "a fault to inject; `--fault list` lists them", many=True),
            Argument("--option", Text("NAME=VALUE"), "a setting, as in board:NAME=VALUE", many=True),
            Argument("--memory-out", File(), "write the 64 KiB here at the end"),
            Argument("--overwrite", None, "let --memory-out replace a file that is there"),
            Argument("--allow-remote", None, "listen on other than loopback: anyone there can type into it"),
        ),
    ),
)


def find(name: str) -> Command | None:
    """The command of that name."""
    return next((command for command in COMMANDS if command.name == name), None)
