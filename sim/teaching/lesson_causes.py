"""The runs that hold the reason of a lesson: a cause switched off, or left on alone.

They take the first few of the lesson's own members, with the same hands, paper and luck, so that what
differs is the cause's.  A reason is held if nineteen hands of twenty say so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.teaching.lesson import Case, Cause, CauseRun, Lesson
from handlap.sim.teaching.lesson_answer import FigureValues, asked_unit, asked_values, votes_of
from handlap.sim.teaching.lesson_case import WorkedCase
from handlap.sim.teaching.lesson_figures import band_of, show_figure
from handlap.sim.teaching.lesson_file import cause_scenario
from handlap.sim.teaching.lesson_texts import read_placeholder

TRIED = 8
"""Members that a cause is tried with."""
NEARLY_ALL = 0.95
HALF, LESS = 0.5, 0.85
"""Most that is left of a figure that "goes", and of one that is "less" [-]."""

WorkOther = Callable[[Case, Scenario, bool, int], WorkedCase]
"""Works a case on another scenario: flat at the start or not, with members counted from the first."""


@dataclass(frozen=True)
class WorkedLesson:
    """What the lesson itself came to: figures, what is asked and its error, by case (members,) [SI]; the
    course asked about (members, looks), where there is one."""

    figures: Mapping[str, FigureValues]
    values: FigureValues
    errors: FigureValues
    course: Array | None


def run_causes(lesson: Lesson, worked: WorkedLesson, work: WorkOther) -> tuple[CauseRun, ...]:
    """Every cause of a lesson run, and held against what the lesson came to."""
    return tuple(_run(lesson, cause, worked, work) for cause in lesson.causes)


def _run(lesson: Lesson, cause: Cause, worked: WorkedLesson, work: WorkOther) -> CauseRun:
    count = min(TRIED, len(next(iter(worked.values.values()))))
    figures = {name: _first(values, count) for name, values in worked.figures.items()}
    other, course = dict(figures), None if worked.course is None else worked.course[:count]
    of = lesson.question.of or lesson.cases[0].name
    for case in lesson.cases:
        if cause.cases is None or case.name in cause.cases:
            done = work(*cause_scenario(lesson, case, cause), count)
            other[case.name] = done.result.figures
            if case.name == of and course is not None:
                course = done.courses[lesson.question.figure]
    if cause.of is None:
        held, words = _of_outcome(lesson, cause, other, _first(worked.errors, count), course)
    else:
        held, words = _of_figure(cause, figures, other)
    return CauseRun(cause, held, f"{cause.words}: {words}")


def _first(values: FigureValues, count: int) -> FigureValues:
    return {name: value[:count] for name, value in values.items()}


def _of_outcome(
    lesson: Lesson,
    cause: Cause,
    figures: Mapping[str, FigureValues],
    errors: FigureValues,
    course: Array | None,
) -> tuple[bool, str]:
    values = asked_values(lesson.question, figures)
    votes = votes_of(lesson, values, errors, course)
    share = float(votes[lesson.intends].mean())
    unit = asked_unit(lesson.question)
    words = {case.name: case.words for case in lesson.cases}
    shown = "; ".join(f"{words[name]} {show_figure(unit, band_of(v))}" for name, v in values.items())
    leading = int(np.argmax(votes.mean(axis=1)))
    if cause.expects == "stays":
        held = share >= NEARLY_ALL
        said = "the answer stays" if held else "the answer does not stay"
    else:
        held = share <= 1.0 - NEARLY_ALL
        said = "the answer goes" if held else "the answer does not go"
        if held and votes[leading].mean() > HALF:
            said = f"it comes out as “{lesson.choices[leading].words}”"
    return held, f"{said} ({shown})"


def _of_figure(
    cause: Cause, figures: Mapping[str, FigureValues], other: Mapping[str, FigureValues]
) -> tuple[bool, str]:
    placeholder = read_placeholder(cause.of or "", figures)
    was, now = placeholder.values(figures), placeholder.values(other)
    held = _held(cause.expects, was, now)
    shown, before = (show_figure(placeholder.unit, band_of(v)) for v in (now, was))
    return held, f"{shown} instead of {before}"


def _held(expects: str, was: Array, now: Array) -> bool:
    """Whether a figure became what was expected of it, in nearly all members (members,).

    >>> _held("goes", np.array([10.0, 12.0]), np.array([1.0, -2.0]))
    True
    >>> _held("stays", np.array([10.0, 12.0]), np.array([1.0, 11.0]))
    False
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        left = now / was
    kept: dict[str, NDArray[np.bool_]] = {
        "stays": left >= HALF,
        "goes": np.abs(left) <= HALF,
        "less": left <= LESS,
        "turns": left < 0.0,
    }
    return bool(np.mean(kept[expects]) >= NEARLY_ALL)
