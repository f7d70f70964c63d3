"""Lessons and their results made up by hand: no lap behind them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from handlap.sim.common.grid import Grid, make_grid
from handlap.sim.common.outline import Outline, circle
from handlap.sim.teaching.lesson import (
    Case,
    CaseResult,
    Choice,
    Lesson,
    LessonAnswer,
    LessonQuestion,
    LessonResult,
    StartFace,
)
from handlap.sim.teaching.lesson_figures import band_of

UM = 1e-6
LOOKS = np.arange(0, 801, 100)
PICTURES = ("curve", "before", "after", "removed", "dye")
OPENINGS = (circle(-0.05, 0.0, 0.06), circle(0.05, 0.0, 0.06), circle(0.1, 0.055, 0.008))
FACE = Outline.rectangular(0.24, 0.14, OPENINGS)
JOB: dict[str, Any] = {
    "title": "Scrap heads",
    "invented": True,
    "part": {
        "length": 240, "width": 140, "metal": "A356", "mass": 3.0, "limit": 50,
        "openings": [{"circle": [-50, 0, 60]}, {"circle": [50, 0, 60]}, {"circle": [100, 55, 8]}],
    },
    "paper": {"grits": ["P180"], "wet": True},
}  # fmt: skip
PACE = {"hollow": 150.0, "crown": 600.0, "twist": 300.0}


def made_lesson(**changes: Any) -> Lesson:
    """A made-up lesson of three cases."""
    lesson = Lesson(
        name="three-shapes",
        title="Hollow, crown or twist?",
        story=(
            "Three scrap heads lie on the bench, out of flat by as much as one another: one hollow, one "
            "crowned, one twisted.\n\nEach gets 800 strokes on P180, with the same hands."
        ),
        ask="Which of them is flattest after that?",
        choices=(
            Choice("The hollow one, because it stands on its ends", case="hollow"),
            Choice("The crowned one, because little has to come off", case="crown"),
            Choice("The twisted one, because it stands on two corners only", case="twist"),
            Choice("It makes no difference", alike=True),
        ),
        because=(
            "A hollow face stands on its rim and does not rock: it ends at {hollow.flatness}, the crown at "
            "{crown.flatness}."
        ),
        bench="File a scrap block slightly hollow, another slightly crowned, and give both 200 strokes.",
        scenario=JOB,
        face=None,
        cases=(
            Case("hollow", "hollow along its length", StartFace(along=-100 * UM)),
            Case("crown", "crowned along its length", StartFace(along=100 * UM)),
            Case("twist", "twisted", StartFace(twist=100 * UM)),
        ),
        strokes=800,
        question=LessonQuestion("which", "flatness", "least", 2 * UM),
        intends=0,
        pictures=PICTURES,
        cautions=("Aluminium dust burns: work wet.",),
    )
    return replace(lesson, **changes)


def made_result(lesson: Lesson | None = None, *, members: int = 16, **answer: Any) -> LessonResult:
    """A made-up result, in which the hollow face comes out flattest unless ``answer`` says otherwise."""
    lesson = lesson or made_lesson()
    grid = make_grid(FACE, cells=500)
    cases = tuple(_case(case, grid, members) for case in lesson.cases)
    values = {case.case.name: band_of(case.figures[lesson.question.figure]) for case in cases}
    told: dict[str, Any] = {
        "choice": 0, "support": 15 / 16, "values": values,
        "words": "The flatness left is least with the hollow face",
        **answer,
    }  # fmt: skip
    filled = {
        name: getattr(lesson, name)
        .replace("{hollow.flatness}", "0.5 µm (0.3–0.8)")
        .replace("{crown.flatness}", "26 µm (18–40)")
        for name in ("story", "because", "bench")
    }
    return LessonResult(lesson, members, 0, cases, LessonAnswer(**told), **filled)


def _case(case: Case, grid: Grid, members: int) -> CaseResult:
    u, v = grid.u / 0.12, grid.v / 0.07
    height = 100 * UM
    shape = {"hollow": u**2, "crown": -(u**2), "twist": 0.5 * u * v}.get(case.name, u**2)
    luck = np.linspace(0.7, 1.5, members)[:, None]
    fall = height * np.exp(-LOOKS / (luck * PACE.get(case.name, 150.0)))
    before = height * shape
    after = before * float(np.median(fall[:, -1])) / height - 12 * UM
    return CaseResult(
        case=case,
        figures={
            "flatness": fall[:, -1],
            "flatness_start": fall[:, 0],
            "strokes_to_limit": np.where(luck[:, 0] > 1.2, np.inf, 500.0 * luck[:, 0]),
            "mass": 1e-3 * luck[:, 0],
        },
        strokes=LOOKS,
        course=fall,
        grid=grid,
        before=before,
        after=after,
        dye=np.clip(np.round(1.0 - shape[: grid.n_cells]) / 2.0, 0.0, 1.0),
    )
