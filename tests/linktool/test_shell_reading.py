"""Words as values. Reference: the command line's parser, which is Python's argparse on the same table."""

from __future__ import annotations

import pytest

from linktool.cli import build_parser
from linktool.commands import COMMANDS, find, settle_ports
from linktool.errors import UsageError
from linktool.shell.line import words
from linktool.shell.reading import read_words

LINES = [
    *(command.example.removeprefix("linktool ") for command in COMMANDS),
    "enter a.hex b.hex --at 300 --no-check --force stack --force rom --port board:",
    "enter a.hex --run",
    "enter a.hex --run 0300 --watch 2.5",
    "enter --at=$0300 a.hex",
    "read 0280-02FF 0400+10 -o saved.hex --overwrite",
    "read --as code 0280",
    "plan a.hex --layout screen --json",
    "run char_out --watch 0",
    "machines",
    "type a.txt --until=> --from 12",
]


@pytest.mark.parametrize("line", LINES)
def test_the_values_are_those_of_the_command_line(line):
    given = words(line)
    expected = vars(build_parser().parse_args(given))
    assert expected.pop("command") == given[0]
    command = find(given[0])
    assert command is not None
    assert read_words(command, given[1:]) == settle_ports(expected, command)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("enter", "enter needs FILE"),
        ("enter a.hex --att 300", "Did you mean --at?"),
        ("enter a.hex --at", "--at needs a value"),
        ("enter a.hex --at --json", "--at needs a value"),
        ("enter a.hex --at zz!", "is no address"),
        ("plan a.hex --json=yes", "--json takes no value"),
        ("machines heron dot", "'dot' is too much"),
        ("read 02FF-0280", "runs backwards"),
    ],
)
def test_what_is_wrong_is_said(line, said):
    verb, *rest = words(line)
    command = find(verb)
    assert command is not None
    with pytest.raises(UsageError, match=said.replace("?", r"\?")):
        read_words(command, rest)


def test_an_option_that_may_stand_alone_leaves_a_word_that_is_no_value_of_it():
    command = find("enter")
    assert command is not None
    values = read_words(command, ["--run", "blink.hex"])
    assert values["run"] == "start" and values["image"] == ["blink.hex"]


def test_what_is_remembered_fills_what_is_missing_and_no_more():
    command = find("enter")
    assert command is not None
    held = {"image": ["a.hex"], "at": 0x300, "address": 0x300}
    values = read_words(command, [], held)
    assert (values["image"], values["at"]) == (["a.hex"], 0x300)
    assert read_words(command, ["--at", "400"], held)["at"] == 0x400
    other = read_words(command, ["b.hex"], held)
    assert (other["image"], other["at"]) == (["b.hex"], None)
    run = find("run")
    assert run is not None
    assert read_words(run, [], held)["address"] == 0x300
