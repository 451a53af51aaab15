"""Ophis's global state: set as at its first run, put back afterwards.

Ophis keeps options, opcode table, error count, macros and labels in module globals. One run at a time:
the caller holds the lock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from Ophis import CmdLine, CorePragmas, Errors, Frontend, Macro, Opcodes

from formats.assembler_passes import HANDED_IN


@contextmanager
def fresh_ophis(log: Callable[[str], None], directives: object, processor: str) -> Iterator[None]:
    """Ophis with errors going to `log`, the methods of `directives` before its own directives, and the
    instructions of "6502" or "65C02"."""
    kept = Errors.log, Opcodes.opcodes, Frontend.pragma_modules, CmdLine.print_summary
    Errors.log, Errors.currentpoint = log, HANDED_IN
    Frontend.pragma_modules = [directives, CorePragmas]
    CmdLine.print_summary = False
    CmdLine.enable_65c02_exts = processor == "65C02"
    if CmdLine.enable_65c02_exts:
        Opcodes.opcodes = {**Opcodes.opcodes, **Opcodes.c02extensions}
    _forget_the_last_source()
    try:
        yield
    finally:
        Errors.log, Opcodes.opcodes, Frontend.pragma_modules, CmdLine.print_summary = kept
        CmdLine.enable_65c02_exts = False
        _forget_the_last_source()


def _forget_the_last_source() -> None:
    Errors.count = 0
    Frontend.templabelcount = 0
    Macro.macros, Macro.currentname, Macro.currentbody = {}, None, None
    CorePragmas.reset()
