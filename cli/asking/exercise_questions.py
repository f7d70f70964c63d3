"""What ``handlap exercise`` asks of the apprentice, and how the answers become the form."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handlap.cli.asking.questions import Question, begin, interview_until, keeping, say
from handlap.sim.common.errors import InputError
from handlap.sim.teaching.exercise import ExerciseTask
from handlap.sim.teaching.exercise_answers import (
    LONGEST_NAME,
    QUESTIONS,
    given,
    read_answer,
    read_answers,
)

DRAFT = "handlap.exercise-draft/1"
NOBODY = "-"


def ask_answers(
    task: ExerciseTask, held: Mapping[str, Any], draft_file: Path, command: str, form: str
) -> dict[str, Any]:
    """Ask for all answers, keeping each in a draft; what was answered, as it goes into the form.

    Parameters
    ----------
    held : what the form holds already, as defaults
    draft_file : where answers are kept until the form is written; the caller drops it
    command : how to go on, for who stops half way
    form : name of the form, for messages

    Raises
    ------
    InputError : at the end of the input; the answers so far are kept
    """
    say(
        f"{task.scenario.title}. Enter takes what stands in brackets, ? tells more, < goes back, "
        "Ctrl-C stops."
    )
    draft, proceed = begin(draft_file, DRAFT)

    def follow(answers: dict[str, str]) -> list[Question]:
        return questions_of(task, held)

    def take(answers: dict[str, str]) -> dict[str, Any]:
        read_answers({**answers, "exercise": task.name}, task, form)
        return dict(answers)

    with keeping(draft, command):
        answers = interview_until(follow, draft, take, proceed=proceed)
    by = answers.get("by", "")
    return {"by": "" if by == NOBODY else by, **{a.name: answers[a.name] for a in QUESTIONS}}


def questions_of(task: ExerciseTask, held: Mapping[str, Any]) -> list[Question]:
    """All questions, with what the form holds already as defaults."""

    def checked(name: str) -> Any:
        def check(answer: str) -> None:
            try:
                read_answer(name, answer, task)
            except ValueError as fault:
                raise InputError(f"allowed: {fault}") from None

        return check

    def short(answer: str) -> None:
        if len(answer) > LONGEST_NAME:
            raise InputError(f"at most {LONGEST_NAME} characters")

    found = [
        Question(
            "by", "Your name? (- for none)", "It is printed on the marks, no more.",
            str(held.get("by") or NOBODY), short, "Who you are",
        )
    ]  # fmt: skip
    for asked in QUESTIONS:
        default = None
        if given(held, asked.name):
            raw = held[asked.name]
            default = ", ".join(str(x) for x in raw) if isinstance(raw, list) else str(raw)
        found.append(
            Question(asked.name, asked.text, asked.more, default, checked(asked.name), asked.heading)
        )
    return found
