"""Steps at the bench, sized by the model: strokes until the tool named can tell what is to be seen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.teaching.bench_tools import TOOLS
from handlap.sim.teaching.lesson import Lesson, SizedStep, Step
from handlap.sim.teaching.lesson_figures import band_of, show_figure
from handlap.sim.teaching.lesson_texts import read_placeholder

SEEN_BY = 95.0
"""Hands in a hundred for whom the tool has to tell it."""

Courses = Mapping[str, Mapping[str, Array]]


def size_steps(
    lesson: Lesson, strokes: Mapping[str, NDArray[np.int64]], courses: Courses
) -> tuple[SizedStep, ...]:
    """Every step of a lesson, sized.

    Parameters
    ----------
    strokes : strokes at the looks, by case (looks,)
    courses : figures at the looks, by case and name (members, looks) [SI]
    """
    return tuple(_size(step, strokes, courses) for step in lesson.steps)


def step_figures(steps: Sequence[SizedStep]) -> dict[str, dict[str, Array]]:
    """What the text of the bench may say of steps, by their names: their strokes (1,); infinite if never."""
    return {
        s.step.name: {"strokes": np.array([math.inf if s.strokes is None else float(s.strokes)])}
        for s in steps
    }


def _size(step: Step, strokes: Mapping[str, NDArray[np.int64]], courses: Courses) -> SizedStep:
    placeholder = read_placeholder(step.of, courses)
    tool = TOOLS[step.tool]
    values = placeholder.values(courses)
    looks = np.asarray(strokes[placeholder.case], dtype=float)
    least = np.percentile(np.abs(values), 100.0 - SEEN_BY, axis=0, method="lower")
    reached = visible_at(looks, least, tool.sees)
    at = looks[-1] if reached is None else float(reached)
    then = np.array([np.interp(at, looks, row) for row in values])
    expected = band_of(then)
    told = f"expect {show_figure(placeholder.unit, expected)}"
    sees = show_figure(placeholder.unit, tool.sees)
    after = f"after {at:.0f} strokes {told}" if looks[-1] else told
    words = f"{step.words}: {after}; {tool.words} sees {sees}"
    if reached is None:
        words = f"{step.words}: {after}, and {tool.words} sees no less than {sees}: not to be seen for all"
    return SizedStep(step, reached, expected, words)


def visible_at(looks: Array, least: Array, sees: float) -> int | None:
    """After how many strokes a figure of ``least`` at the looks or more comes to be seen; None: never.

    Rounded up to strokes that somebody would count: tens, then fifties, then hundreds.  What is seen from the
    start has to go and come again (a bow that turns); what is seen all along is looked at in the end.

    >>> visible_at(np.array([0.0, 100.0, 200.0]), np.array([0.0, 4.0, 12.0]), 9.0)
    170
    >>> visible_at(np.array([0.0, 100.0]), np.array([0.0, 4.0]), 9.0) is None
    True
    """
    under = np.flatnonzero(least < sees)
    if not under.size:
        return int(looks[-1])
    over = np.flatnonzero(least[under[0] :] >= sees)
    if not over.size:
        return None
    k = int(under[0] + over[0]) - 1
    share = (sees - least[k]) / (least[k + 1] - least[k])
    at = float(looks[k] + share * (looks[k + 1] - looks[k]))
    unit = 10.0 if at <= 200.0 else 50.0 if at <= 950.0 else 100.0
    return int(min(unit * math.ceil(at / unit), looks[-1]))
