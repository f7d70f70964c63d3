"""A sitting: lessons one after the other, a prediction for each, and the marks."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

from handlap.cli.asking.questions import FINISH, HELP, Finish, read_answer, say, show
from handlap.cli.reports.lesson_report import letter, mark_of
from handlap.cli.screen import is_terminal
from handlap.sim.common.errors import InputError
from handlap.sim.teaching.lesson import Lesson, LessonResult

DO_NOT_KNOW = "?"


@dataclass
class Sitting:
    """Lessons answered so far, with the choice predicted for each (None: "do not know")."""

    asked: int
    done: list[tuple[LessonResult, int | None]] = field(default_factory=list)
    ended_early: bool = False

    @property
    def marks(self) -> list[int | None]:
        """1 right, 0 wrong, None no mark, lesson by lesson."""
        return [mark_of(result, predicted) for result, predicted in self.done]

    def words(self) -> str:
        """The marks so far in words."""
        return marks_words(self.marks, last=len(self.done) >= self.asked or self.ended_early)


def marks_words(marks: Sequence[int | None], *, last: bool) -> str:
    """Marks in words.

    >>> marks_words([1, 0, None, 1], last=False)
    '2 of 3 right so far; 1 without a mark.'
    >>> marks_words([None], last=True)
    'No marks: nothing predicted, or nothing that could be told.'
    >>> marks_words([], last=True)
    'No marks: nothing was answered.'
    """
    counting = [mark for mark in marks if mark is not None]
    if not marks:
        return "No marks: nothing was answered."
    if not counting:
        return "No marks" + (": nothing predicted, or nothing that could be told." if last else " so far.")
    words = f"{sum(counting)} of {len(counting)} right"
    words = f"Marks: {words}" if last else f"{words} so far"
    spare = len(marks) - len(counting)
    return words + (f"; {spare} without a mark." if spare else ".")


def letters_words(lesson: Lesson) -> str:
    """The letters that may be answered.

    >>> from types import SimpleNamespace
    >>> letters_words(SimpleNamespace(choices=(1, 2, 3)))
    'a, b or c'
    """
    letters = [letter(i) for i in range(len(lesson.choices))]
    return f"{', '.join(letters[:-1])} or {letters[-1]}" if len(letters) > 1 else letters[0]


def choice_of(answer: str, lesson: Lesson) -> int | None:
    """Index of the choice an answer means; None: "do not know".

    Raises
    ------
    InputError : if it is no letter of the list
    """
    plain = answer.strip().lower().rstrip(".)").lstrip("(").strip()
    if plain in ("", DO_NOT_KNOW):
        return None
    for i in range(len(lesson.choices)):
        if plain == letter(i):
            return i
    shown = answer if len(answer) <= 40 else answer[:39] + "…"
    raise InputError(
        f'"{shown}" is none of the choices of the lesson {lesson.name}: {letters_words(lesson)}, or '
        f'{DO_NOT_KNOW} for "do not know"'
    )


def ask_prediction(lesson: Lesson, line: int = 1) -> int | None:
    """The choice predicted; None: "do not know".

    At a terminal a wrong answer is asked for again; from a pipe it is told by its ``line``.

    Raises
    ------
    Finish : for "end"
    NoMoreInput : at the end of the input
    InputError : for an answer that is not on the list where nobody can be asked again
    """
    show([""])
    say(f"Your prediction, {letters_words(lesson)}? ({HELP} or Enter: do not know, no mark; {FINISH}: leave)")
    while True:
        answer = read_answer()
        if answer.lower() == FINISH:
            raise Finish
        try:
            return choice_of(answer, lesson)
        except InputError as fault:
            if not is_terminal(sys.stdin):
                raise InputError(f"line {line} of the answers: {fault}") from None
            say(f"{fault}.", "  ")
