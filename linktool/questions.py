"""Questions to the user, and answers: typed at a terminal, piped in, or the suggested ones.

A question has a suggestion, which an empty answer takes. At a terminal a wrong answer is asked for again;
from a pipe it is an error, as an answer that never comes is: nothing is guessed.
"""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Sequence
from typing import TextIO, TypeVar

from linktool.errors import UsageError

T = TypeVar("T")


class Questions:
    """write: shows text. read_line: the next answer without its line end, None when there is none.
    live: a person answers. suggested: take every suggestion without asking. columns: where lines are
    broken between words."""

    def __init__(
        self,
        write: Callable[[str], object],
        read_line: Callable[[], str | None],
        *,
        live: bool = False,
        suggested: bool = False,
        columns: int = 100,
    ) -> None:
        self._write, self._read_line = write, read_line
        self.live, self.suggested, self._columns = live, suggested, columns

    def tell(self, *lines: str) -> None:
        """Lines for the user."""
        for line in lines:
            indent = re.match(r"[! ]*", line)[0]  # type: ignore[index]  # it matches anything
            parts = textwrap.wrap(line, self._columns, subsequent_indent=indent) or [""]
            self._write("".join(part + "\n" for part in parts))

    def ask(self, question: str, parse: Callable[[str], T], suggestion: str = "") -> T:
        """The answer, parsed. `parse` raises UsageError for what will not do."""
        shown = f"{question} [{suggestion}]: " if suggestion else f"{question}: "
        if len(shown) > self._columns:
            shown = textwrap.fill(shown, self._columns - 1, break_on_hyphens=False) + " "
        while True:
            self._write(shown)
            answer = self._answer(question, suggestion)
            try:
                return parse(answer)
            except UsageError as error:
                if not self.live or self.suggested:
                    raise UsageError(f"{question}: {error}") from error
                self.tell(f"! {error}")

    def _answer(self, question: str, suggestion: str) -> str:
        if self.suggested:
            self.tell(suggestion)
            return suggestion
        line = self._read_line()
        if line is None:
            self.tell("")
            raise UsageError(f"no answer came to the question: {question}", "Nothing was written")
        if not self.live:
            self._write((line.strip() or suggestion) + "\n")  # what was answered stands in what is kept
        return line.strip() or suggestion

    def yes(self, question: str, suggestion: bool) -> bool:
        """Yes or no."""
        return self.ask(question, _yes, "yes" if suggestion else "no")

    def choose(self, question: str, choices: Sequence[tuple[str, str]], suggestion: str = "") -> str:
        """One of (word, what it means), by its word or its number."""
        self.tell(
            *(
                f"  {number}  {word:<12} {meaning}".rstrip()
                for number, (word, meaning) in enumerate(choices, 1)
            )
        )
        names = [word for word, _ in choices]

        def parse(answer: str) -> str:
            if answer.isdecimal() and 1 <= int(answer) <= len(names) and answer not in names:
                return names[int(answer) - 1]
            if answer not in names:
                raise UsageError(f"{answer!r} is none of them", f"Give {', '.join(names)}, or a number")
            return answer

        return self.ask(question, parse, suggestion)


def _yes(answer: str) -> bool:
    if answer.lower() in ("yes", "y"):
        return True
    if answer.lower() in ("no", "n"):
        return False
    raise UsageError(f"{answer!r} is neither", "Answer yes or no")


def questions_on(
    out: TextIO, piped: Callable[[], str | None] | None = None, *, suggested: bool = False
) -> Questions:
    """Questions shown on `out`, answered on standard input. piped: reads an answer where nobody types it."""
    live = sys.stdin.isatty()

    def write(text: str) -> None:
        out.write(text)
        out.flush()

    columns = shutil.get_terminal_size().columns if out.isatty() else 100
    read_line = _typed_line if live or piped is None else piped
    return Questions(write, read_line, live=live, suggested=suggested, columns=columns)


def _typed_line() -> str | None:
    line = sys.stdin.readline()
    return line.rstrip("\n") if line else None
