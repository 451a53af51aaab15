"""screen: what came from the machine, as its screen shows it; and listening without striking a key."""

from __future__ import annotations

from dataclasses import dataclass

from linktool.actions import Talk
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import DONE, LINK_FAILED, STOPPED


@dataclass(frozen=True)
class ScreenReport:
    """rows: each `columns` wide. received: characters that came since the port was first opened."""

    machine: str
    port: str
    rows: tuple[str, ...]
    columns: int
    received: int
    stopped: bool = False
    lost: str = ""
    saved: str = ""
    command: str = "screen"

    @property
    def ok(self) -> bool:
        return not (self.stopped or self.lost)

    @property
    def exit_status(self) -> int:
        return LINK_FAILED if self.lost else STOPPED if self.stopped else DONE


def listen(talk: Conversation, seconds: float) -> Talk[tuple[bool, str]]:
    """Take in what comes for `seconds`; (stopped, why the link failed). No key is struck."""
    try:
        yield from talk.note("listen", seconds=seconds)
        yield from talk.pause(seconds)
        talk.inbox = ""
    except Stopped:
        return True, ""
    except Gone as error:
        return False, str(error)
    return False, ""
