from __future__ import annotations

from typing import Any

import pytest
from Ophis import CmdLine, CorePragmas, Errors, Frontend, Macro, Opcodes

from formats.assembler_state import fresh_ophis


def state() -> tuple[Any, ...]:
    return (
        Errors.log, Errors.count, Opcodes.opcodes, len(Opcodes.opcodes), Frontend.pragma_modules,
        Frontend.templabelcount, Macro.macros, Macro.currentname, Macro.currentbody, CmdLine.print_summary,
        CmdLine.enable_65c02_exts, CmdLine.outfile, CmdLine.listfile, CorePragmas.currentcharmap,
    )  # fmt: skip


@pytest.mark.parametrize("processor", ["6502", "65C02"])
@pytest.mark.parametrize("fails", [False, True])
def test_everything_is_put_back_whatever_happens(processor: str, fails: bool):
    with fresh_ophis(print, object(), "6502"):
        pass
    before = state()
    try:
        with fresh_ophis(print, object(), processor):
            assert ("phx" in Opcodes.opcodes) == (processor == "65C02")
            Errors.count, Frontend.templabelcount, Macro.currentname = 7, 3, "half"
            Macro.macros["m"] = []
            CorePragmas.currentcharmap = "x" * 256
            if fails:
                raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass
    assert state() == before


def test_our_directives_come_before_the_assemblers_own():
    ours = object()
    with fresh_ophis(print, ours, "6502"):
        assert Frontend.pragma_modules == [ours, CorePragmas]
