"""The prompt: the one file that knows prompt_toolkit. Keys, completion, history and the bottom line; all
else is the session's. Commands run between two prompts, in this thread, on the terminal as it always is."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Iterator

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer
from prompt_toolkit.completion import Completion as Offer
from prompt_toolkit.document import Document
from prompt_toolkit.history import History as PromptHistory
from prompt_toolkit.input import Input
from prompt_toolkit.output import ColorDepth, Output
from prompt_toolkit.renderer import CPR_Support
from prompt_toolkit.utils import is_dumb_terminal

from linktool.shell.history import History
from linktool.shell.session import Shell

ANSWER_S = 0.5
"""How long a terminal may take to say where its cursor is, the first time."""

WELCOME = "linktool: `help` lists the verbs, `quit` leaves."


class _Offers(Completer):
    def __init__(self, shell: Shell) -> None:
        self._shell = shell

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterator[Offer]:
        before = document.text_before_cursor
        completion = self._shell.complete(before)
        for each in completion.candidates:
            text = each.text + (" " if each.final else "")
            yield Offer(text, completion.start - len(before), each.text, each.help)


class _Kept(PromptHistory):
    def __init__(self, kept: History) -> None:
        super().__init__()
        self._kept = kept

    def load_history_strings(self) -> Iterable[str]:
        return reversed(self._kept.lines)  # newest first is what is asked for

    def store_string(self, string: str) -> None:
        self._kept.add(string)


def session_for(shell: Shell, input: Input | None = None, output: Output | None = None) -> PromptSession[str]:
    """A prompt for this shell."""
    plain = bool(os.environ.get("NO_COLOR"))
    session: PromptSession[str] = PromptSession(
        history=_Kept(History(shell.bench.folders.state / "history")),
        completer=_Offers(shell),
        complete_while_typing=False,
        complete_in_thread=False,
        bottom_toolbar=lambda: shell.bottom_line(shutil.get_terminal_size().columns),
        reserve_space_for_menu=4,
        enable_suspend=True,
        color_depth=ColorDepth.DEPTH_1_BIT if plain else None,
        input=input,
        output=output,
    )
    # A terminal that does not say where its cursor is costs a second at every prompt until that is known.
    session.app.renderer.CPR_TIMEOUT = ANSWER_S  # type: ignore[assignment]  # whole seconds there
    session.app.renderer.cpr_not_supported_callback = None
    return session


def _has_bottom_line(session: PromptSession[str]) -> bool:
    """Whether the line at the bottom is drawn: only where the cursor's place can be known."""
    if sys.platform == "win32":
        return True
    known = session.app.renderer.cpr_support != CPR_Support.NOT_SUPPORTED
    return known and session.output.responds_to_cpr and not is_dumb_terminal()


def talk_to_user(shell: Shell, input: Input | None = None, output: Output | None = None) -> int:
    """Prompt and execute until the user leaves; 0. Ctrl-C at the prompt drops the line, Ctrl-D leaves."""
    session = session_for(shell, input, output)
    shell.say(WELCOME)

    def message() -> str:
        if _has_bottom_line(session):
            return shell.prompt()
        return f"{shell.bottom_line(shutil.get_terminal_size().columns)}\n{shell.prompt()}"

    while True:
        try:
            line = session.prompt(message)
        except KeyboardInterrupt:
            continue
        except EOFError:
            return 0
        if shell.execute(line).leave:
            return 0
