"""Ophis's passes with three changes: macros are bounded, nothing is printed, bytes keep their addresses.

Ophis names a place by a string of its caller's choosing ("7", and "7->3" for line 3 of a macro used at
7) and calls a `visit...` method for each kind of node. Imports Ophis, so it is loaded only when needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from Ophis import IR, Errors, Macro, Passes

from formats.image import TOP

HANDED_IN = "0"
"""The place of what the source does not say itself: its symbols and the origin the user gave."""
NODES_MAX = 200_000
"""What macros may make, in nodes and the values in them."""
OUTPUT_MAX = 4 * (TOP + 1)
"""Bytes a source may give, .org going back and all."""


class TooMuch(Exception):
    """Stops a pass at once; what is wrong has been logged."""


def leaves(node: Any) -> Iterator[Any]:
    """Every node of a program that is not a sequence, in order."""
    if node.nodetype == "SEQUENCE":
        for inner in node.data:
            yield from leaves(inner)
    else:
        yield node


class BoundedMacros(Passes.ExpandMacros):  # type: ignore[misc]  # Ophis has no types
    """The macro pass, stopped before macros that use themselves fill the memory."""

    nodes = 0

    def visitMacroInvoke(self, node: Any, env: Any) -> None:
        self.nodes += 8 + sum(1 + len(inner.data) for inner in Macro.macros.get(node.data[0], ()))
        if self.nodes <= NODES_MAX:
            super().visitMacroInvoke(node, env)
        else:
            Errors.log("the macros make more than the assembler can hold; does one use itself?")
            raise TooMuch


class QuietLabels(Passes.InitLabels):  # type: ignore[misc]
    """The label pass, which prints its warnings on its first run only: it starts with its second."""

    def __init__(self) -> None:
        super().__init__()
        self.runcount = 1


@dataclass(frozen=True)
class Emission:
    """Bytes one line gives: their first address, the line's place, and the place of the .org that
    put them there (HANDED_IN for the user's origin, None for neither)."""

    address: int
    data: bytes
    place: str
    origin: str | None


@dataclass(frozen=True)
class Label:
    """A name's value and its place; `is_address` when it stands before a line, not in an .alias."""

    value: int
    place: str
    is_address: bool


class Collection(Passes.Assembler):  # type: ignore[misc]
    """The last pass. Afterwards `emissions` are in the source's order and `labels` are the global ones.

    `org_places` are the places of the .org lines; .space moves the counter too, but is no origin.
    """

    def __init__(self, org_places: set[str]) -> None:
        super().__init__()
        self.org_places = org_places
        self.origins: dict[str, str] = {}
        self.emissions: list[Emission] = []
        self.labels: dict[str, Label] = {}

    def go(self, node: Any, env: Any) -> None:
        self.environment = env
        super().go(node, env)

    def emit(self, address: int, data: bytes, place: str) -> None:
        if data:
            origin = self.origins.get(self.environment.getsegment())
            self.emissions.append(Emission(address, data, place, origin))
            if len(self.output) > OUTPUT_MAX:
                Errors.log(f"the source gives more than {OUTPUT_MAX} bytes")
                raise TooMuch

    def assemble(self, node: Any, mode: int, env: Any) -> None:
        before, address = len(self.output), env.getPC()
        super().assemble(node, mode, env)
        self.emit(address, bytes(self.output[before:]), node.ppt)

    def registerData(self, vals: list[int], pc: int) -> None:
        self.emit(pc, bytes(vals), Errors.currentpoint)

    def visitSetPC(self, node: Any, env: Any) -> None:
        super().visitSetPC(node, env)
        if node.ppt == HANDED_IN or node.ppt.rpartition("->")[2] in self.org_places:
            self.origins[env.getsegment()] = node.ppt

    def visitAdvance(self, node: Any, env: Any) -> None:
        target = node.data[0].value(env)
        if target > TOP + 1:
            Errors.log(f".advance goes to {target:X}, outside 0000-FFFF")
        else:
            super().visitAdvance(node, env)

    def visitLabel(self, node: Any, env: Any) -> None:
        super().visitLabel(node, env)
        name, expression = node.data
        if node.ppt != HANDED_IN and name[0] not in "_*":
            self.labels[name] = Label(expression.value(env), node.ppt, isinstance(expression, IR.PCExpr))
