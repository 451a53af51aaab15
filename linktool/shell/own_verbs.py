"""The shell's own verbs, and all verbs together: the same kind of table as that of the commands."""

from __future__ import annotations

from dataclasses import replace

from linktool.arguments import Argument, MachineName, PortName, Text
from linktool.commands import AT, COMMANDS, FORMAT, IMAGE, Command
from linktool.errors import UsageError
from linktool.spelling import did_you_mean

OWN: tuple[Command, ...] = (
    Command(
        "help",
        "list the verbs, or explain one",
        "",
        "help enter",
        (Argument("verb", Text("VERB", lambda known: VERB_NAMES), "the verb to explain", needed=False),),
    ),
    Command(
        "port",
        "show the port in hand, or take another; a simulated board is switched off and on",
        "",
        "port board:",
        (Argument("name", PortName(), "the port to use from now on", needed=False),),
    ),
    Command(
        "machine",
        "show the machine in hand, or take another",
        "",
        "machine heron",
        (Argument("name", MachineName(), "the profile to use from now on", needed=False),),
    ),
    Command(
        "image",
        "show the image in hand, or take one without typing it",
        "",
        "image blink.hex",
        (replace(IMAGE, needed=False), AT, FORMAT),
    ),
    Command("quit", "leave the shell; the port is closed", "", "quit"),
)
VERBS = (*COMMANDS, *OWN)
VERB_NAMES: tuple[str, ...] = tuple(sorted(verb.name for verb in VERBS))

ALSO = {"exit": "quit", "?": "help"}


def find_verb(name: str) -> Command:
    """The verb of that name. UsageError with the nearest one."""
    wanted = ALSO.get(name, name)
    found = next((verb for verb in VERBS if verb.name == wanted), None)
    if found is None:
        meant = did_you_mean(wanted.lower(), VERB_NAMES)
        raise UsageError(f"there is no verb {name!r}", f"{meant}`help` lists them")
    return found
