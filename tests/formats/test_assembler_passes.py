"""The passes by themselves, on nodes made by hand as Ophis's parser makes them."""

from __future__ import annotations

import pytest
from Ophis import IR, Environment, Errors, Macro

from formats.assembler_passes import (
    HANDED_IN,
    NODES_MAX,
    BoundedMacros,
    Collection,
    Emission,
    Label,
    TooMuch,
    leaves,
)
from formats.assembler_state import fresh_ophis


def run(program: object, org_places: set[str], messages: list[str]) -> Collection:
    collection = Collection(org_places)

    def log(message: str) -> None:
        Errors.count += 1
        messages.append(message)

    with fresh_ophis(log, object(), "6502"):
        collection.go(program, Environment.Environment())
    return collection


def test_bytes_keep_their_address_their_line_and_their_origin():
    program = IR.SequenceNode(
        "1",
        [
            IR.Node(HANDED_IN, "SetPC", IR.ConstantExpr(0x300)),
            IR.Node("1", "Implied", "nop", None, None),
            IR.Node("2", "SetPC", IR.ConstantExpr(0x400)),
            IR.Node("3", "SetPC", IR.ConstantExpr(0x402)),
            IR.Node("4->2", "Byte", IR.ConstantExpr(1), IR.ConstantExpr(2)),
            IR.Node("5", "TextSegment", "other"),
            IR.Node("6", "Byte", IR.ConstantExpr(3)),
        ],
    )
    assert run(program, {"2"}, []).emissions == [
        Emission(0x300, b"\xea", "1", HANDED_IN),
        Emission(0x402, b"\x01\x02", "4->2", "2"),
        Emission(0, b"\x03", "6", None),
    ]


def test_labels_are_kept_but_for_local_and_handed_in_ones():
    program = IR.SequenceNode(
        "1",
        [
            IR.Node(HANDED_IN, "Label", "given", IR.ConstantExpr(1)),
            IR.Node("1", "Label", "here", IR.PCExpr()),
            IR.Node("2", "Label", "number", IR.ConstantExpr(7)),
            IR.Node("3", "Label", "_local", IR.PCExpr()),
            IR.Node("4", "Label", "*1", IR.PCExpr()),
        ],
    )
    assert run(program, set(), []).labels == {"here": Label(0, "1", True), "number": Label(7, "2", False)}


def test_filling_beyond_memory_is_an_error_and_not_an_attempt():
    messages: list[str] = []
    run(IR.Node("1", "Advance", IR.ConstantExpr(1 << 40), IR.ConstantExpr(0)), set(), messages)
    assert messages == [".advance goes to 10000000000, outside 0000-FFFF"]


def test_macros_are_expanded_up_to_a_bound():
    messages: list[str] = []

    def log(message: str) -> None:
        Errors.count += 1
        messages.append(message)

    with fresh_ophis(log, object(), "6502"):
        Macro.macros = {"m": [IR.Node("1", "Implied", "nop", None, None)]}
        calls = IR.SequenceNode("1", [IR.Node("2", "MacroInvoke", "m") for _ in range(3)])
        BoundedMacros().go(calls, Environment.Environment())
        assert [node.nodetype for node in leaves(calls)].count("Implied") == 3
        many = IR.SequenceNode("1", [IR.Node("2", "MacroInvoke", "m") for _ in range(NODES_MAX // 12 + 1)])
        with pytest.raises(TooMuch):
            BoundedMacros().go(many, Environment.Environment())
    assert messages == ["the macros make more than the assembler can hold; does one use itself?"]


@pytest.mark.parametrize("depth", [0, 3])
def test_leaves_are_found_at_any_depth_in_order(depth: int):
    node = IR.SequenceNode("1", [IR.Node("1", "Byte"), IR.Node("2", "Word")])
    for _ in range(depth):
        node = IR.SequenceNode("1", [node])
    assert [leaf.nodetype for leaf in leaves(node)] == ["Byte", "Word"]
