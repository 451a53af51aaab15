"""The wrapper round Ophis; the only file that imports it, and imported only when a source is read.

Ophis keeps its state in module globals, prints its errors and writes its result to a file. Here its
parser and passes run in memory: the state is set before and put back after each run (one run at a
time), errors are collected with file and line, bytes are collected at their addresses, and the
directives that touch files are our own. Limits keep a runaway source from eating the computer.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from Ophis import IR, CmdLine, CorePragmas, Environment, Errors, Frontend, Macro, Opcodes, Passes

from formats.errors import FormatError
from formats.image import TOP, hex4
from formats.placement import Placement
from formats.reading import Reading, ReadOptions
from formats.text import normal_line_ends, refuse_marks, shown

LINES_MAX = 100_000
NODES_MAX = 200_000
INCLUDE_DEPTH_MAX = 16
_COMPLAINTS_SHOWN = 4
_EXPECTED = "6502 assembly source"
_SYMBOL = re.compile(r"[a-z_][a-z0-9_]*")
_HANDED_IN = "0"
_ONE_AT_A_TIME = threading.Lock()
_WORDS = {
    '"EOL"': "the end of the line",
    '"LABEL"': "a name",
    '"NUM"': "a number",
    '"STRING"': "text in quotes",
    '"OPCODE"': "an instruction",
    "expression": "a value",
}


def assemble(data: bytes, source: str, options: ReadOptions) -> Reading:
    """The image, labels and origin of a source; raises as formats.assembly.read says."""
    if options.processor not in ("6502", "65C02"):
        raise ValueError(f"processor {options.processor!r}; 6502 or 65C02")
    symbols = {name.lower(): value for name, value in options.symbols.items()}
    for name, value in symbols.items():
        if not _SYMBOL.fullmatch(name) or not 0 <= value <= TOP:
            raise ValueError(f"symbol {name!r} with value {value!r}")
    if options.at is not None and not 0 <= options.at <= TOP:
        raise FormatError(source, "", f"origin {options.at:X}", "an address within 0000-FFFF")
    with _ONE_AT_A_TIME:
        return _Run(source, options, symbols).go(data)


class _Run:
    """One source through Ophis. A place in a source is known to Ophis by its index in `places`."""

    def __init__(self, source: str, options: ReadOptions, symbols: dict[str, int]) -> None:
        self.source = source
        self.options = options
        self.symbols = symbols
        self.places: list[tuple[str, int, str]] = [(source, 0, "")]
        self.complaints: list[tuple[str, str]] = []
        self.warnings: list[str] = []
        self.origins: set[str] = set()
        self.depth = 0

    def go(self, data: bytes) -> Reading:
        with _fresh_ophis(self):
            try:
                collected = self.passes(self.parse(_HANDED_IN, self.source, data))
            except FormatError:
                raise
            except Exception as error:
                # Ophis trips over some malformed lines it has complained of, and a few it has not.
                self.refuse_complaints()
                raise self.error(
                    Errors.currentpoint, "the assembler cannot make sense of this line"
                ) from error
        return self.reading(collected)

    def parse(self, place: str, source: str, data: bytes) -> Any:
        """One file as an Ophis node; included files come through here too."""
        lines = _source_lines(data, source)
        if len(self.places) + len(lines) > LINES_MAX:
            raise FormatError(
                source, "", "the source and what it includes is too long", f"{LINES_MAX} lines at most"
            )
        first = len(self.places)
        self.places += [(source, number, line.strip()) for number, line in enumerate(lines, 1)]
        points = [str(first + offset) for offset in range(len(lines))]
        lexed = [
            _without_accumulator(Frontend.lex(point, line)) for point, line in zip(points, lines, strict=True)
        ]
        nodes = [Frontend.parse_line(point, lexemes) for point, lexemes in zip(points, lexed, strict=True)]
        return IR.SequenceNode(place, [node for node in nodes if node is not IR.NullNode])

    def passes(self, program: Any) -> _Collect:
        """Ophis's passes in its own order, without the one that makes branches longer."""
        environment = Environment.Environment()

        def run(*passes: Any) -> None:
            for each in passes:
                each.go(program, environment)
                self.refuse_complaints()

        self.refuse_complaints()
        macros = _BoundedMacros()
        run(Passes.DefineMacros(), Passes.FixPoint("the macros", [macros], lambda: not macros.changed))
        program = self.with_symbols(program)
        quiet, update, collapse = _QuietLabels(), Passes.UpdateLabels(), Passes.Collapse()
        settle = Passes.FixPoint("the labels", [update], lambda: not update.changed)
        collect = _Collect(self)
        run(
            Passes.FixPoint("the labels", [quiet], lambda: not quiet.changed),
            Passes.CircularityCheck(),
            Passes.CheckExprs(),
            Passes.EasyModes(),
            Passes.FixPoint("the instructions", [settle, collapse], lambda: not collapse.changed),
            Passes.NormalizeModes(),
            Passes.UpdateLabels(),
            collect,
        )
        return collect

    def with_symbols(self, program: Any) -> Any:
        """The program behind the symbols handed in that it does not define itself, and its origin."""
        defined = {}
        for node in _nodes(program):
            if node.nodetype == "Label":
                name = node.data[0]
                if name in Opcodes.opcodes and name not in defined:
                    self.warnings.append(
                        f"{self.where(node.ppt)}: the label {name!r} is the name of an instruction"
                    )
                defined[name] = node.ppt
        front = [
            IR.Node(_HANDED_IN, "Label", name, IR.ConstantExpr(value))
            for name, value in self.symbols.items()
            if name not in defined
        ]
        if self.options.at is not None:
            front.append(IR.Node(_HANDED_IN, "SetPC", IR.ConstantExpr(self.options.at)))
        return IR.SequenceNode(_HANDED_IN, [*front, program])

    def reading(self, collected: _Collect) -> Reading:
        if collected.first is None:
            raise FormatError(self.source, "", "the source gives no bytes", "instructions or data")
        origin, at = collected.first, self.options.at
        if at is not None and not collected.used_at and origin != at:
            raise FormatError(
                self.source,
                self.place(collected.first_origin),
                f".org places the first byte at {hex4(origin)}, and --at says {hex4(at)}",
                "one of them",
                "Change the .org, or leave --at out",
            )
        for name, value in self.symbols.items():
            own = collected.labels.get(name)
            if own is not None and own != value:
                self.warnings.append(
                    f"{self.where(collected.label_places[name])}: {name} is {hex4(own)} here; "
                    f"the {hex4(value)} handed in is not used"
                )
        image = collected.placement.image()
        start = collected.labels.get("start") if "start" in collected.addresses else None
        if start is not None and start in image:
            image = type(image)(image.segments, start)
        warnings = (*self.warnings, *collected.placement.warnings())
        return Reading(image, warnings, collected.labels, origin)

    def complain(self, message: str) -> None:
        """Stands in for Ophis's own log, which prints."""
        Errors.count += 1
        self.complaints.append((Errors.currentpoint, message))

    def refuse_complaints(self) -> None:
        if self.complaints:
            (point, message), *others = self.complaints
            hint = "; ".join(f"{self.place(at)}: {_plain(text)}" for at, text in others[:_COMPLAINTS_SHOWN])
            more = len(others) - _COMPLAINTS_SHOWN
            raise self.error(
                point, message, "Also " + hint + (f"; and {more} more" if more > 0 else "") if hint else ""
            )

    def error(self, point: str, message: str, hint: str = "") -> FormatError:
        source, _, text = self.places[_last_place(point)]
        found = f"{shown(text, 48)}: {_plain(message)}" if text else _plain(message)
        return FormatError(source, self.place(point, source), found, hint=hint)

    def place(self, point: str, main: str = "") -> str:
        """A place in words, without the file's name where that is `main` (the source itself)."""
        main = main or self.source
        *outer, inner = (self.places[int(part)] for part in point.split("->"))
        used = f", in the macro used at {_line(outer[0], main)}" if outer else ""
        return _line(inner, main) + used

    def where(self, point: str) -> str:
        return f"{self.source}, {self.place(point)}"

    # The directives that touch files, found by Ophis before its own because of their names.

    def pragmaInclude(self, place: str, line: Any, result: list[Any]) -> None:
        name = line.expect("STRING").value
        line.expect("EOL")
        if isinstance(name, str):
            result.append(self.include(place, name))

    def pragmaRequire(self, place: str, line: Any, result: list[Any]) -> None:
        name = line.expect("STRING").value
        line.expect("EOL")
        if isinstance(name, str):
            result.append(self.include(place, name, once=True))

    def pragmaIncbin(self, place: str, line: Any, result: list[Any]) -> None:
        name = line.expect("STRING").value
        offset, size = IR.ConstantExpr(0), None
        if line.lookahead(0).type == ",":
            line.pop()
            offset = Frontend.parse_expr(line)
            if line.lookahead(0).type == ",":
                line.pop()
                size = Frontend.parse_expr(line)
        line.expect("EOL")
        if isinstance(name, str):
            _, content = self.fetch(place, name)
            size = size or IR.SequenceExpr([IR.ConstantExpr(len(content)), "-", offset])
            result.append(IR.Node(place, "ByteRange", offset, size, *map(IR.ConstantExpr, content)))

    def pragmaCharmapbin(self, place: str, line: Any, result: list[Any]) -> None:
        name = line.expect("STRING").value
        line.expect("EOL")
        if isinstance(name, str):
            found, content = self.fetch(place, name)
            if len(content) != 256:
                self.complain(f"the character map {found} has {len(content)} bytes, not 256")
            else:
                CorePragmas.currentcharmap = content.decode("latin-1")

    def pragmaOutfile(self, place: str, line: Any, result: list[Any]) -> None:
        line.expect("STRING")
        line.expect("EOL")
        self.warnings.append(f"{self.where(place)}: a source may not say what is written where; passed over")

    pragmaListfile = pragmaOutfile

    def pragmaOrg(self, place: str, line: Any, result: list[Any]) -> None:
        self.origins.add(place)
        CorePragmas.pragmaOrg(place, line, result)

    def include(self, place: str, name: str, once: bool = False) -> Any:
        found, content = self.fetch(place, name)
        if once and found in Frontend.loadedfiles:
            return IR.NullNode
        if self.depth >= INCLUDE_DEPTH_MAX:
            raise self.error(place, f"files include each other more than {INCLUDE_DEPTH_MAX} deep")
        Frontend.loadedfiles[found] = True
        self.depth += 1
        node = self.parse(place, found, content)
        self.depth -= 1
        return node

    def fetch(self, place: str, name: str) -> tuple[str, bytes]:
        if self.options.include is None:
            raise self.error(place, "this source cannot include files: it was not read from a file")
        try:
            return self.options.include(name, self.places[_last_place(place)][0])
        except FormatError as error:
            raise self.error(place, str(error)) from error


class _BoundedMacros(Passes.ExpandMacros):  # type: ignore[misc]  # Ophis has no types
    """Ophis's macro pass, stopped before macros that use each other fill the memory."""

    nodes = 0

    def visitMacroInvoke(self, node: Any, env: Any) -> None:
        self.nodes += 8 + len(Macro.macros.get(node.data[0], ()))
        if self.nodes > NODES_MAX:
            if not Errors.count:
                Errors.log("the macros make more than the assembler can hold; does one use itself?")
            return
        super().visitMacroInvoke(node, env)


class _QuietLabels(Passes.InitLabels):  # type: ignore[misc]
    """Ophis's label pass, which prints its warnings on its first run only: it starts with its second."""

    def __init__(self) -> None:
        super().__init__()
        self.runcount = 1


class _Collect(Passes.Assembler):  # type: ignore[misc]
    """Ophis's last pass, with every byte put at its address and every label's value kept."""

    def __init__(self, run: _Run) -> None:
        super().__init__()
        self.run = run
        self.emitted: list[str] = [""]
        self.placement = Placement(run.source, lambda record: run.place(self.emitted[record]))
        self.placed = set() if run.options.at is None else {"*text-default*"}
        self.by_org: set[str] = set()
        self.used_at = False
        self.first: int | None = None
        self.first_origin = _HANDED_IN
        self.last_origin = _HANDED_IN
        self.labels: dict[str, int] = {}
        self.label_places: dict[str, str] = {}
        self.addresses: set[str] = set()

    def go(self, node: Any, env: Any) -> None:
        self.environment = env
        super().go(node, env)

    def emit(self, address: int, data: bytes, point: str) -> None:
        if not data:
            return
        segment = self.environment.getsegment()
        if segment not in self.placed:
            raise self.run.error(
                point,
                "nothing says at which address this goes",
                "Put .org before it, or give an address, for example --at 0280",
            )
        if segment not in self.by_org:
            self.used_at = True
        if self.first is None:
            self.first, self.first_origin = address, self.last_origin
        self.emitted.append(point)
        self.placement.put(address, data, len(self.emitted) - 1)

    def assemble(self, node: Any, mode: int, env: Any) -> None:
        before, address = len(self.output), env.getPC()
        super().assemble(node, mode, env)
        self.emit(address, bytes(self.output[before:]), node.ppt)

    def registerData(self, vals: list[int], pc: int) -> None:
        self.emit(pc, bytes(vals), Errors.currentpoint)

    def visitSetPC(self, node: Any, env: Any) -> None:
        super().visitSetPC(node, env)
        if node.ppt.rpartition("->")[2] in self.run.origins:
            self.placed.add(env.getsegment())
            self.by_org.add(env.getsegment())
            self.last_origin = node.ppt

    def visitAdvance(self, node: Any, env: Any) -> None:
        target = node.data[0].value(env)
        if target > TOP + 1:
            Errors.log(f".advance to {target:X}, outside 0000-FFFF")
        else:
            super().visitAdvance(node, env)

    def visitLabel(self, node: Any, env: Any) -> None:
        super().visitLabel(node, env)
        name, expression = node.data
        value = expression.value(env)
        if node.ppt != _HANDED_IN and name[0] not in "_*" and 0 <= value <= TOP:
            self.labels[name] = value
            self.label_places[name] = node.ppt
            if isinstance(expression, IR.PCExpr):
                self.addresses.add(name)


@contextmanager
def _fresh_ophis(run: _Run) -> Iterator[None]:
    """Ophis's global state as at its first run, errors going to `run`; put back afterwards."""
    kept = (Errors.log, Opcodes.opcodes, Frontend.pragma_modules)
    Errors.log, Errors.count, Errors.currentpoint = run.complain, 0, _HANDED_IN
    Frontend.pragma_modules = [run, CorePragmas]
    Frontend.templabelcount, Frontend.context_directory = 0, None
    Macro.macros, Macro.currentname, Macro.currentbody = {}, None, None
    CmdLine.print_summary = False
    CmdLine.enable_65c02_exts = run.options.processor == "65C02"
    if CmdLine.enable_65c02_exts:
        Opcodes.opcodes = {**Opcodes.opcodes, **Opcodes.c02extensions}
    CorePragmas.reset()
    try:
        yield
    finally:
        Errors.log, Opcodes.opcodes, Frontend.pragma_modules = kept
        Errors.count, CmdLine.enable_65c02_exts, Macro.macros = 0, False, {}


def _source_lines(data: bytes, source: str) -> list[str]:
    """The lines of a source: ASCII, with any UTF-8 text in the comments."""
    refuse_marks(data, source, _EXPECTED)
    lines = []
    for number, raw in enumerate(normal_line_ends(data).split(b"\n"), 1):
        try:
            line = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            raise FormatError(
                source, f"line {number}", f"byte {raw[error.start]:02X}, which is not UTF-8 text", _EXPECTED
            ) from error
        line = line if line.isascii() else _without_comment(line)
        odd = next(
            (character for character in line if not " " <= character <= "~" and character not in "\t\f\v"), ""
        )
        if odd:
            raise FormatError(
                source, f"line {number}", f"the character {odd!r}", "ASCII characters, except in comments"
            )
        lines.append(line)
    return lines


def _without_comment(line: str) -> str:
    """The line up to its comment; quotes and backslashes count as they do to Ophis."""
    quoted = escaped = False
    for at, character in enumerate(line):
        if escaped:
            escaped = False
        elif character == "\\":
            escaped = True
        elif character == '"':
            quoted = not quoted
        elif character == ";" and not quoted:
            return line[:at]
    return line


def _without_accumulator(lexemes: list[Any]) -> list[Any]:
    """`asl a` as Ophis wants it, `asl`."""
    tail = [lexeme.value for lexeme in lexemes[-3:-1]]
    if len(tail) == 2 and tail[0] in ("asl", "lsr", "rol", "ror") and tail[1] == "a":
        return [*lexemes[:-2], lexemes[-1]]
    return lexemes


def _nodes(node: Any) -> Iterator[Any]:
    if node.nodetype == "SEQUENCE":
        for inner in node.data:
            yield from _nodes(inner)
    else:
        yield node


def _last_place(point: str) -> int:
    return int(point.rpartition("->")[2])


def _line(place: tuple[str, int, str], main: str) -> str:
    source, number, _ = place
    return f"line {number}" if source == main else f"line {number} of {source}"


def _plain(message: str) -> str:
    """An Ophis message with its token names as words."""
    if not message.startswith("Expected: "):
        return message
    parts = message.removeprefix("Expected: ").split(", ")
    return "expected " + " or ".join(_WORDS.get(part, part.replace('"', "'")) for part in parts)
