"""Questions: suggestions, wrong answers, answers that end."""

from __future__ import annotations

import pytest

from linktool.errors import UsageError
from linktool.questions import Questions


def asked(*answers: str, live: bool = False, suggested: bool = False) -> tuple[Questions, list[str]]:
    shown: list[str] = []
    left = iter(answers)
    return Questions(shown.append, lambda: next(left, None), live=live, suggested=suggested), shown


def number(text: str) -> int:
    if not text.isdecimal():
        raise UsageError(f"{text!r} is no number")
    return int(text)


def test_an_empty_answer_takes_the_suggestion():
    questions, shown = asked("")
    assert questions.ask("How many", number, "7") == 7
    assert shown == ["How many [7]: ", "7\n"]


def test_at_a_terminal_a_wrong_answer_is_asked_for_again():
    questions, shown = asked("many", "3", live=True)
    assert questions.ask("How many", number) == 3
    assert "! 'many' is no number\n" in shown


def test_from_a_pipe_a_wrong_answer_is_an_error():
    questions, _ = asked("many", "3")
    with pytest.raises(UsageError, match="How many: 'many' is no number"):
        questions.ask("How many", number)


def test_an_answer_that_never_comes_is_an_error_not_a_guess():
    questions, _ = asked()
    with pytest.raises(UsageError, match="no answer came"):
        questions.ask("How many", number, "7")


def test_all_suggestions_can_be_taken_unasked():
    questions, shown = asked(suggested=True)
    assert questions.yes("Go on?", True) is True
    assert shown == ["Go on? [yes]: ", "yes\n"]


def test_a_choice_by_word_or_number():
    choices = (("two-way", "both"), ("one-way", "out"))
    assert asked("one-way")[0].choose("Adapter", choices) == "one-way"
    assert asked("2")[0].choose("Adapter", choices) == "one-way"
    with pytest.raises(UsageError, match="'3' is none of them"):
        asked("3")[0].choose("Adapter", choices)


def test_long_lines_are_broken_between_words_and_keep_their_indent():
    shown: list[str] = []
    Questions(shown.append, lambda: None, columns=20).tell("! a sentence of several words")
    assert shown == ["! a sentence of\n! several words\n"]


def test_a_long_question_is_broken_between_words():
    shown: list[str] = []
    Questions(shown.append, lambda: "", live=True, columns=24).ask(
        "Name and range, or none", str, "stack 0100-01FF, line-buffer"
    )
    assert shown == ["Name and range, or none\n[stack 0100-01FF,\nline-buffer]: "]
