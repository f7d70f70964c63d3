"""A sitting: lessons one after the other, a prediction for each, and the marks."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.asking.questions import FINISH, HELP, Finish, NoMoreInput, read_answer, say, show
from handlap.cli.reports.lesson_report import lesson_json, letter, mark_of, question_lines, reveal_report
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen, emit, is_terminal, note
from handlap.sim.common.errors import InputError
from handlap.sim.teaching.lesson import Lesson, LessonResult

if TYPE_CHECKING:
    from handlap.cli.options import Output

    Work = Callable[[Lesson], LessonResult]

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


def sit(
    sitting: Sitting,
    lessons: Sequence[Lesson],
    given: Sequence[int | None],
    work: Work,
    output: Output,
    *,
    tell: bool,
) -> None:
    """One lesson after the other, until the last or until nobody answers any more."""
    try:
        for place, one in enumerate(lessons):
            if place and not output.as_json:
                emit("")
            _open(sitting, one, place, given, work, output, tell=tell)
    except (Finish, NoMoreInput):
        sitting.ended_early = True
        left = len(lessons) - len(sitting.done)
        say(f"The sitting ends here, with {left} of {len(lessons)} lessons not answered.")
    except (KeyboardInterrupt, InputError):
        if sitting.done:
            sitting.ended_early = True
            say("")
            say(sitting.words())
        raise


def _open(
    sitting: Sitting,
    one: Lesson,
    place: int,
    given: Sequence[int | None],
    work: Work,
    output: Output,
    *,
    tell: bool,
) -> None:
    """One lesson: the question, the prediction, the work, the answer."""
    predicted: int | None = None
    counted = f"Lesson {place + 1} of {sitting.asked}: " if sitting.asked > 1 else ""
    # A story that has figures in it has to be worked before it can be told.
    result = work(one) if tell or "{" in one.story else None
    story = one.story if result is None else result.story
    if not tell:
        show(question_lines(one, story, Screen.of(sys.stderr), counted))
        predicted = given[place] if place < len(given) else ask_prediction(one, place - len(given) + 1)
        say("")
    result = work(one) if result is None else result
    sitting.done.append((result, predicted))
    if not output.as_json:
        screen = Screen.of(sys.stdout)
        if tell:
            emit("\n".join([*question_lines(one, story, screen, counted), ""]))
        emit(render(reveal_report(result, predicted, screen.width), screen))
    if output.out is not None:
        write_lesson_page(result, output.out)
    if not tell and sitting.asked > 1 and len(sitting.done) < sitting.asked:
        emit(f"\n{sitting.words()}", error=output.as_json)


def finish_sitting(sitting: Sitting, members: int, seed: int, output: Output, *, marked: bool) -> None:
    """Hand over what a sitting came to."""
    from handlap.cli.files import write_whole
    from handlap.cli.reports.as_json import dumps

    whole = sitting_json(sitting, members, seed)
    if output.json_file is not None:
        write_whole(output.json_file, dumps(whole) + "\n")
    if output.as_json:
        emit(dumps(whole))
    elif marked and (sitting.asked > 1 or sitting.ended_early):
        emit("")
        emit(sitting.words())
    if output.json_file is not None:
        note(f"JSON written to {output.json_file}")


def sitting_json(sitting: Sitting, members: int, seed: int) -> dict[str, Any]:
    """A sitting as one JSON object."""
    marks = sitting.marks
    return {
        "schema": "handlap.lesson/1",
        "members": members,
        "seed": seed,
        "asked": sitting.asked,
        "ended_early": sitting.ended_early,
        "marks": {"right": marks.count(1), "wrong": marks.count(0), "without": marks.count(None)},
        "lessons": [lesson_json(result, predicted) for result, predicted in sitting.done],
    }


def write_lesson_page(result: LessonResult, out: Path) -> None:
    """The page of a lesson and its pictures, into a folder."""
    from handlap.cli.drawing.lesson_pictures import lesson_pictures
    from handlap.cli.drawing.sizes import for_phones
    from handlap.cli.result_set import write_result_set
    from handlap.cli.sheets.sheet_lesson_page import lesson_page

    pictures = lesson_pictures(result)
    with for_phones():
        page = lesson_page(result, pictures, lesson_pictures(result))
    write_result_set(out, result.lesson.name, "lesson", page, pictures)
