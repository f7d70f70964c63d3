"""Figures of lessons as a person reads them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from handlap.sim.planning.cautions import cautions
from handlap.sim.teaching.lesson_figures import FIGURES
from handlap.sim.teaching.lesson_file import case_scenario

if TYPE_CHECKING:
    from handlap.sim.teaching.lesson import Lesson, LessonResult

LETTERS = "abcdefghijklmnopqrstuvwxyz"
"""Choices go by these."""


class FigureWords(NamedTuple):
    """A figure's name in words, the unit it is shown in, and SI times ``factor`` in that unit."""

    label: str
    unit: str
    factor: float


def figure_words(name: str) -> FigureWords:
    """How a figure is shown.

    >>> figure_words("mass")
    FigureWords(label='metal removed', unit='g', factor=1000.0)
    """
    kind = FIGURES[name]
    return FigureWords(kind.words.removeprefix("the "), kind.screen_unit, kind.scale)


def has_course(result: LessonResult) -> bool:
    """Whether the figure asked about is to be shown over the strokes: how large it is at the end is not."""
    followed = any(case.course is not None and len(case.strokes) > 1 for case in result.cases)
    return followed and result.lesson.question.asks != "number"


def same_start(result: LessonResult) -> bool:
    """Whether all cases begin with one and the same face."""
    import numpy as np

    first = result.cases[0].before
    return all(c.before.shape == first.shape and np.allclose(c.before, first) for c in result.cases)


def is_invented(lesson: Lesson) -> bool:
    """Whether its data are made up: a face given as a plain shape always is."""
    shaped = lesson.face is not None or any(case.face is not None for case in lesson.cases)
    return shaped or any(case_scenario(lesson, case).invented for case in lesson.cases)


def take_care(lesson: Lesson) -> tuple[str, ...]:
    """The lesson's own cautions, then the usual ones for its jobs; the maker's limits last."""
    said = list(lesson.cautions)
    closing = ""
    for case in lesson.cases:
        job = case_scenario(lesson, case)
        *usual, closing = cautions(job.part.metal, weight=job.part.weight, wet=job.paper.wet)
        said += usual
    return tuple(dict.fromkeys((*said, closing)))
