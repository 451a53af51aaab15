"""A source through Ophis, in memory. Only the assembler files import it, and only when needed.

Ophis keeps its state in module globals, prints its errors and writes its result to a file. Here its
parser and passes are called one by one: the state is set before and put back after each run (one run
at a time), errors are collected with file and line, bytes are placed at their addresses, and the
directives that touch files are our own. Limits keep a runaway source from eating the computer.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from Ophis import IR, CorePragmas, Environment, Errors, Frontend, Opcodes, Passes

from formats.assembler_passes import HANDED_IN, BoundedMacros, Collection, QuietLabels, leaves
from formats.assembler_state import fresh_ophis
from formats.errors import FormatError
from formats.image import TOP, hex4
from formats.placement import Placement
from formats.reading import Reading, ReadOptions
from formats.source_lines import source_lines
from formats.source_places import SourcePlaces, plain

LINES_MAX = 100_000
SOURCE_BYTES_MAX = 1024 * 1024
BINARY_BYTES_MAX = 256 * 1024
"""For a source with all it includes: its text, and what .incbin brings in."""
INCLUDE_DEPTH_MAX = 16
_ALSO_SHOWN = 4
_SYMBOL = re.compile(r"[a-z_][a-z0-9_]*")
_ONE_AT_A_TIME = threading.Lock()
_BYTES = [IR.ConstantExpr(byte) for byte in range(256)]
_TRIPS: dict[type[Exception], str] = {
    ZeroDivisionError: "a division by zero",
    RecursionError: "this is nested too deeply",
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
    run = _Run(source, options, symbols)
    with _ONE_AT_A_TIME, fresh_ophis(run.complain, run.directives, options.processor):
        try:
            collection = run.assemble(data)
        except FormatError:
            raise
        except Exception as error:
            # Ophis trips over some malformed lines it has complained of, and a few it has not.
            run.refuse_complaints()
            problem = _TRIPS.get(type(error), "the assembler cannot make sense of this line")
            raise run.places.error(Errors.currentpoint, problem) from error
    return run.reading(collection)


class _Run:
    """One source, its places, and what is said about it."""

    def __init__(self, source: str, options: ReadOptions, symbols: Mapping[str, int]) -> None:
        self.source = source
        self.options = options
        self.symbols = symbols
        self.places = SourcePlaces(source)
        self.org_places: set[str] = set()
        self.complaints: list[tuple[str, str]] = []
        self.warnings: list[str] = []
        self.text_bytes = 0
        self.directives = _Directives(self)

    def parse(self, place: str, source: str, data: bytes) -> Any:
        """One file as an Ophis node; included files come through here too."""
        self.text_bytes += len(data)
        if self.text_bytes > SOURCE_BYTES_MAX or len(self.places) + data.count(b"\n") > LINES_MAX:
            raise FormatError(
                source,
                "",
                "the source with its includes is too long",
                f"at most {LINES_MAX} lines and {SOURCE_BYTES_MAX} bytes",
            )
        lines = source_lines(data, source)
        first = self.places.add(source, lines)
        nodes = []
        for point, line in enumerate(lines, first):
            node = Frontend.parse_line(str(point), _without_accumulator(Frontend.lex(str(point), line)))
            if node is not IR.NullNode:
                nodes.append(node)
        return IR.SequenceNode(place, nodes)

    def assemble(self, data: bytes) -> Collection:
        """Ophis's passes in its own order, without the one that makes branches longer."""
        program = self.parse(HANDED_IN, self.source, data)
        self.refuse_complaints()
        self.refuse_open(program, "MacroBegin", "MacroEnd", ".macro without its .macend")
        self.refuse_open(program, "ScopeBegin", "ScopeEnd", ".scope without its .scend")
        environment = Environment.Environment()
        macros, labels = BoundedMacros(), QuietLabels()
        update, collapse = Passes.UpdateLabels(), Passes.Collapse()
        settle = Passes.FixPoint("the labels", [update], lambda: not update.changed)
        collection = Collection(self.org_places)
        for each in (
            Passes.DefineMacros(),
            Passes.FixPoint("the macros", [macros], lambda: not macros.changed),
        ):
            each.go(program, environment)
            self.refuse_complaints()
        program = self.with_symbols(program)
        for each in (
            Passes.FixPoint("the labels", [labels], lambda: not labels.changed),
            Passes.CircularityCheck(),
            Passes.CheckExprs(),
            Passes.EasyModes(),
            Passes.FixPoint("the instructions", [settle, collapse], lambda: not collapse.changed),
            Passes.NormalizeModes(),
            Passes.UpdateLabels(),
            collection,
        ):
            each.go(program, environment)
            self.refuse_complaints()
        return collection

    def refuse_open(self, program: Any, begins: str, ends: str, message: str) -> None:
        """FormatError at the line that opens what is not closed; Ophis would name the source's last line."""
        opened: list[str] = []
        for node in leaves(program):
            if node.nodetype == begins:
                opened.append(node.ppt)
            elif node.nodetype == ends and opened:
                opened.pop()
        if opened:
            raise self.places.error(opened[-1], message)

    def with_symbols(self, program: Any) -> Any:
        """The program behind the symbols handed in that it does not define itself, and its origin."""
        defined: dict[str, str] = {}
        for node in leaves(program):
            if node.nodetype == "Label":
                defined.setdefault(node.data[0], node.ppt)
        for name, point in defined.items():
            if name in Opcodes.opcodes:
                self.warnings.append(
                    f"{self.places.where(point)}: the label {name!r} is an instruction's name"
                )
        front = [
            IR.Node(HANDED_IN, "Label", name, IR.ConstantExpr(value))
            for name, value in self.symbols.items()
            if name not in defined
        ]
        if self.options.at is not None:
            front.append(IR.Node(HANDED_IN, "SetPC", IR.ConstantExpr(self.options.at)))
        return IR.SequenceNode(HANDED_IN, [*front, program])

    def reading(self, collection: Collection) -> Reading:
        """What the passes collected, placed and checked."""
        emissions, at = collection.emissions, self.options.at
        if not emissions:
            raise FormatError(self.source, "", "the source gives no bytes", "instructions or data")
        placement = Placement(self.source, lambda record: self.places.words(emissions[record - 1].place))
        for record, emission in enumerate(emissions, 1):
            if emission.origin is None:
                raise self.places.error(
                    emission.place,
                    "nothing says at which address this goes",
                    "Put .org before it, or give an address, for example --at 0280",
                )
            placement.put(emission.address, emission.data, record)
        first = emissions[0]
        if at not in (None, first.address) and all(each.origin != HANDED_IN for each in emissions):
            raise self.places.error(
                first.origin or HANDED_IN,
                f"this places the first byte at {hex4(first.address)}, and --at says {at:04X}",
                "Change the .org, or leave --at out",
            )
        labels = {name: label for name, label in collection.labels.items() if 0 <= label.value <= TOP}
        for name, value in self.symbols.items():
            if name in labels and labels[name].value != value:
                self.warnings.append(
                    f"{self.places.where(labels[name].place)}: {name} is {hex4(labels[name].value)} here; "
                    f"the {hex4(value)} handed in is not used"
                )
        image = placement.image()
        start = labels.get("start")
        if start is not None and start.is_address and start.value in image:
            image = replace(image, start=start.value)
        warnings = (*self.warnings, *placement.warnings())
        return Reading(image, warnings, {name: label.value for name, label in labels.items()}, first.address)

    def complain(self, message: str) -> None:
        """Stands in for Ophis's own log, which prints."""
        Errors.count += 1
        self.complaints.append((Errors.currentpoint, message))

    def refuse_complaints(self) -> None:
        """FormatError for the first complaint, with the next few in its hint."""
        if not self.complaints:
            return
        (point, message), *others = self.complaints
        also = [f"{self.places.words(at)}: {plain(text)}" for at, text in others]
        if len(also) > _ALSO_SHOWN:
            also[_ALSO_SHOWN:] = [f"and {len(also) - _ALSO_SHOWN} more"]
        raise self.places.error(point, message, "Also " + "; ".join(also) if also else "")


class _Directives:
    """The directives that touch files. Ophis finds them, before its own, by their names."""

    def __init__(self, run: _Run) -> None:
        self.run = run
        self.depth = 0
        self.binary_bytes = 0
        self.included: set[str] = set()

    def pragmaInclude(self, place: str, line: Any, result: list[Any], once: bool = False) -> None:
        found, content = self.fetch(place, _file_name(line))
        if once and found in self.included:
            return
        if self.depth >= INCLUDE_DEPTH_MAX:
            raise self.run.places.error(place, f"files include each other more than {INCLUDE_DEPTH_MAX} deep")
        self.included.add(found)
        self.depth += 1
        result.append(self.run.parse(place, found, content))
        self.depth -= 1

    def pragmaRequire(self, place: str, line: Any, result: list[Any]) -> None:
        self.pragmaInclude(place, line, result, once=True)

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
        found, content = self.fetch(place, name)
        self.binary_bytes += len(content)
        if self.binary_bytes > BINARY_BYTES_MAX:
            problem = f"with {found}, .incbin brings in more than {BINARY_BYTES_MAX} bytes"
            raise self.run.places.error(place, problem)
        size = size or IR.SequenceExpr([IR.ConstantExpr(len(content)), "-", offset])
        result.append(IR.Node(place, "ByteRange", offset, size, *(_BYTES[byte] for byte in content)))

    def pragmaCharmapbin(self, place: str, line: Any, result: list[Any]) -> None:
        found, content = self.fetch(place, _file_name(line))
        if len(content) == 256:
            CorePragmas.currentcharmap = content.decode("latin-1")
        else:
            Errors.log(f"the character map {found} has {len(content)} bytes, not 256")

    def pragmaOutfile(self, place: str, line: Any, result: list[Any]) -> None:
        _file_name(line)
        self.run.warnings.append(
            f"{self.run.places.where(place)}: a source does not decide what is written; passed over"
        )

    pragmaListfile = pragmaOutfile

    def pragmaOrg(self, place: str, line: Any, result: list[Any]) -> None:
        self.run.org_places.add(place)
        CorePragmas.pragmaOrg(place, line, result)

    def fetch(self, place: str, name: object) -> tuple[str, bytes]:
        run = self.run
        if not isinstance(name, str):
            run.refuse_complaints()
        if run.options.include is None:
            raise run.places.error(place, "this source cannot include files: it was not read from a file")
        try:
            return run.options.include(str(name), run.places.file(place))
        except FormatError as error:
            raise run.places.error(place, str(error)) from error


def _file_name(line: Any) -> Any:
    name = line.expect("STRING").value
    line.expect("EOL")
    return name


def _without_accumulator(lexemes: list[Any]) -> list[Any]:
    """`asl a` as Ophis wants it, `asl`."""
    tail = [lexeme.value for lexeme in lexemes[-3:-1]]
    if len(tail) == 2 and tail[0] in ("asl", "lsr", "rol", "ror") and tail[1] == "a":
        return [*lexemes[:-2], lexemes[-1]]
    return lexemes
