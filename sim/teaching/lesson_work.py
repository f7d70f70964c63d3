"""Working a lesson: its cases on the same members, and what they answer to its question.

The members of all cases have the same hands, paper and luck, so that a difference between two
cases is theirs and not chance's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.face.proud import refuse_proud
from handlap.sim.face.told import faces_to_work_on
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import middle_member
from handlap.sim.planning.crew import MOST_MEMBERS
from handlap.sim.teaching.lesson import Case, CauseRun, Lesson, LessonAnswer, LessonResult
from handlap.sim.teaching.lesson_answer import (
    FigureValues,
    answer_lesson,
    asked_errors,
    asked_unit,
    asked_values,
    votes_of,
)
from handlap.sim.teaching.lesson_case import (
    ROUGHER,
    ReadyCase,
    WorkedCase,
    ready_case,
    showing,
    work_case,
)
from handlap.sim.teaching.lesson_causes import WorkedLesson, run_causes
from handlap.sim.teaching.lesson_face import start_faces
from handlap.sim.teaching.lesson_figures import FINEST, SCREEN, show_figure
from handlap.sim.teaching.lesson_file import case_scenario
from handlap.sim.teaching.lesson_steps import size_steps, step_figures
from handlap.sim.teaching.lesson_texts import fill

FEWEST_MEMBERS = 2
OWN_SHARE = 0.65
"""Share of the computing that goes into the figures themselves; the rest measures their error."""
CASES_SHARE = 0.8
"""Share of the progress told that goes to the cases, where runs that hold the reason follow."""
MAPPED = ("flatness", "mean_depth", "deepest")
"""Figures in which the member that maps are of is to be ordinary, besides the one asked about."""
CAUGHT = 0.05
"""Share of the work with the part caught at its edge from which a note says so."""


def work_lesson(
    lesson: Lesson,
    *,
    members: int = 24,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> LessonResult:
    """Work all cases of a lesson on the same members and let the outcome choose.

    Parameters
    ----------
    members : pairs of hands to work it with; no more than the lesson itself allows
    executor : where they work; without one, threads of this process; the answer is the same
    progress : called with the share done and what is being done

    Raises
    ------
    InputError : for a number of members out of range
    TippingError : if the press lies off the face for most of the work of a case
    """
    if not FEWEST_MEMBERS <= members <= MOST_MEMBERS:
        raise InputError(f"--members {members}: allowed is {FEWEST_MEMBERS} to {MOST_MEMBERS}")
    tell = progress or (lambda done, what: None)
    count = members if lesson.members is None else min(members, lesson.members)
    worked: list[TriedCase] = []
    each = (CASES_SHARE if lesson.causes else 1.0) / len(lesson.cases)
    for at, case in enumerate(lesson.cases):
        share = partial(_share_done, tell, case.words, at * each, each)
        ready, coarse = _ready(lesson, case, members=count, seed=seed)
        worked.append(_try_case(ready, coarse, share, executor))
    if lesson.causes:
        tell(CASES_SHARE, "what holds the reason")
    found = _gather(lesson, worked, members=count, seed=seed, executor=executor)
    tell(1.0, "done")
    return found


@dataclass(frozen=True)
class TriedCase:
    """A case worked three times by the same members.

    Attributes
    ----------
    ready : before the first stroke
    own : as its figures are given
    rough : figures with steps twice as long
    roughest : figures with cells twice as long besides
    """

    ready: ReadyCase
    own: WorkedCase
    rough: FigureValues
    roughest: FigureValues


def _try_case(
    ready: ReadyCase, coarse: ReadyCase, share: Callable[[float], None], executor: Executor | None
) -> TriedCase:
    count = ready.members.count
    own = work_case(ready, executor=executor, finished=lambda n: share(OWN_SHARE * n / count))
    longer = ROUGHER * own.quad_strokes
    rough = work_case(
        ready,
        quad_strokes=longer,
        executor=executor,
        finished=lambda n: share(OWN_SHARE + (1.0 - OWN_SHARE) * n / count),
    )
    roughest = work_case(coarse, quad_strokes=longer, executor=executor)
    return TriedCase(ready, own, rough.result.figures, roughest.result.figures)


def _share_done(
    tell: Callable[[float, str], None], words: str, start: float, part: float, done: float
) -> None:
    tell(start + part * done, words)


def _ready(lesson: Lesson, case: Case, *, members: int, seed: int) -> tuple[ReadyCase, ReadyCase]:
    """A case ready to be worked, and the same on coarser cells."""
    scenario = case_scenario(lesson, case)
    refuse_proud(scenario.part)
    faces_at = _faces(lesson, case, scenario, members=members, seed=seed)
    few = max(16, int(lesson.cells / ROUGHER**2))
    return (
        ready_case(lesson, case, scenario, faces_at, members=members, seed=seed),
        ready_case(lesson, case, scenario, faces_at, members=members, seed=seed, cells=few),
    )


def _faces(
    lesson: Lesson, case: Case, scenario: Scenario, *, members: int, seed: int
) -> Callable[[Array], Array]:
    """What gives the starting faces (members, n) at any points (n, 2) [m]."""
    face = case.face or lesson.face
    if face is not None:
        return partial(start_faces, face, scenario.part.outline, members=members, seed=seed)
    faces = faces_to_work_on(scenario, count=members, seed=seed, above=False)

    def inferred(points: Array) -> Array:
        heights = np.asarray(faces.heights_at(points))
        # A table without error is one face for all.
        return np.resize(heights, (members, heights.shape[1]))

    return inferred


def _work_other(
    lesson: Lesson,
    case: Case,
    scenario: Scenario,
    flat: bool,
    some: int,
    *,
    members: int,
    seed: int,
    executor: Executor | None,
) -> WorkedCase:
    """A case on another scenario, worked by the first ``some`` of its members; see ``lesson_causes``."""
    faces_at = _faces(lesson, case, scenario, members=members, seed=seed)
    ready = ready_case(lesson, case, scenario, faces_at, members=members, seed=seed)
    if flat:
        ready = replace(ready, members=replace(ready.members, before=np.zeros_like(ready.members.before)))
    return work_case(ready, some=range(some), executor=executor)


def _gather(
    lesson: Lesson, worked: list[TriedCase], *, members: int, seed: int, executor: Executor | None
) -> LessonResult:
    question = lesson.question
    figures = {w.own.result.case.name: w.own.result.figures for w in worked}
    rough = {w.own.result.case.name: w.rough for w in worked}
    roughest = {w.own.result.case.name: w.roughest for w in worked}
    values = asked_values(question, figures)
    errors = asked_errors(values, asked_values(question, rough), asked_values(question, roughest))
    shown = _shown(question.figure, list(figures.values()))
    cases = tuple(
        replace(showing(w.ready, w.own, shown), course=w.own.courses.get(question.figure)) for w in worked
    )
    of = next(c for c in cases if c.case.name == (question.of or cases[0].case.name))
    answer = answer_lesson(lesson, figures, errors, of.course)
    steps = size_steps(
        lesson,
        {c.case.name: c.strokes for c in cases},
        {w.own.result.case.name: w.own.courses for w in worked},
    )
    other = partial(_work_other, lesson, members=members, seed=seed, executor=executor)
    # Where the outcome is another one there is no reason to hold.
    causes: tuple[CauseRun, ...] = ()
    if answer.choice == lesson.intends:
        causes = run_causes(lesson, WorkedLesson(figures, values, errors, of.course), other)
    stands = answer.choice == lesson.intends and all(run.held for run in causes)
    return LessonResult(
        lesson=lesson,
        members=members,
        seed=seed,
        cases=cases,
        answer=answer,
        story=fill(lesson.story, figures),
        because=fill(lesson.because, figures) if stands else "",
        bench=fill(lesson.bench, figures | step_figures(steps)),
        notes=(
            *_meant(lesson, answer),
            *_error(lesson, values, errors, of.course),
            *_caught(w.own for w in worked),
        ),
        causes=causes,
        steps=steps,
    )


def _shown(asked: str, cases: Sequence[Mapping[str, Array]]) -> int:
    """The member that maps are of: nearest to the middle of what came of all cases, the figure asked about
    among them."""
    names = dict.fromkeys((*MAPPED, asked))
    known = [case[name] for case in cases for name in names if name in case]
    return middle_member(*(values for values in known if np.isfinite(values).all()))


def _meant(lesson: Lesson, answer: LessonAnswer) -> list[str]:
    """What to say where it comes out other than the author means it to."""
    if answer.choice == lesson.intends:
        return []
    meant = lesson.choices[lesson.intends].words
    came = "it cannot tell"
    if answer.choice is not None:
        came = f"it came out as “{lesson.choices[answer.choice].words}”"
    return [
        f"the lesson means to teach “{meant}”, but in this run {came}: go by the run, and look for what "
        "is different in it"
    ]


def _error(lesson: Lesson, values: FigureValues, errors: FigureValues, course: Array | None) -> list[str]:
    """The numerical error of what is asked, and how many members it keeps from an answer."""
    error = np.max(list(errors.values()), axis=0)
    if not error.any():
        return []
    unit = asked_unit(lesson.question)
    least = FINEST[unit] / SCREEN[unit][1]
    usual = max(float(np.percentile(error, 90.0, method="nearest")), least)
    shown = show_figure(unit, usual).removesuffix(" times")
    found = [
        f"the computing itself errs by no more than {shown} in what is asked, for nine pairs of hands in ten"
    ]
    free = {case: np.zeros_like(e) for case, e in errors.items()}
    lost = votes_of(lesson, values, free, course).sum() - votes_of(lesson, values, errors, course).sum()
    if lost > 0:
        found.append(
            f"{lost:.0f} of {error.size} pairs of hands do not count: what they say is no larger than the "
            "error of computing it"
        )
    return found


def _caught(worked: Iterable[WorkedCase]) -> list[str]:
    notes = []
    for w in worked:
        caught = float(np.mean([run.clipped for run in w.runs])) if w.runs else 0.0
        if caught > CAUGHT:
            notes.append(
                f"{w.result.case.words}: in {100 * caught:.0f} % of the work the hands would have tipped the "
                "part; they are taken to catch it at the edge"
            )
    return notes
