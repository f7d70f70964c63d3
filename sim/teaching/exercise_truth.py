"""What an exercise comes to, whoever answers it: the truth, what its readings say, what is best done."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

from handlap.sim.face.survey import Survey, survey
from handlap.sim.face.told import FaceDecides
from handlap.sim.job.results import StagePlan, Verdict
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.crew import Crew, Progress
from handlap.sim.planning.plan import make_plan
from handlap.sim.planning.verdict import LAP_AT, SHOP_AT
from handlap.sim.planning.work import MOST_STROKES
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.exercise_face import TrueNumbers, true_numbers
from handlap.sim.teaching.exercise_trial import PlanTrial, WayTried, crew_on, try_way

MEMBERS = 24
"""Pairs of hands that try a plan; faces of the program's own plan."""


@dataclass(frozen=True)
class ExerciseTruth:
    """What the exercise comes to, whoever answers: the truth, and what the readings say.

    Attributes
    ----------
    numbers : figures of the true face
    survey : what the program makes of the readings
    verdict : what the program would do, from the readings
    own : its own plan tried on the true face; where it laps nothing, all papers of the scenario; where the
        face is flat enough, to half of what it measures, as is asked of the apprentice then
    do : what is best done with the true face: leave, lap, machine shop, or cannot tell
    """

    numbers: TrueNumbers
    survey: Survey
    verdict: Verdict
    own: PlanTrial
    do: str


def look_up(
    exercise: Exercise,
    *,
    members: int = MEMBERS,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> tuple[ExerciseTruth, Crew]:
    """The truth of an exercise and what its readings say, and the true face on its bench."""
    tell = progress or (lambda done, what: None)
    scenario = exercise.scenario
    tell(0.0, "surveying the readings")
    numbers = true_numbers(scenario.part.outline, exercise.face)
    surveyed = survey(scenario, seed=0)
    tell(0.1, "planning from the readings")
    try:
        plan = make_plan(
            scenario, members=members, seed=0, executor=executor,
            progress=lambda done, what: tell(0.1 + 0.5 * done, what),
        )  # fmt: skip
        verdict, way = plan.verdict, own_way(scenario, plan.stages)
    except FaceDecides as stopped:
        verdict, way = stopped.verdict, own_way(scenario, ())
    tell(0.6, "trying that plan on the true face")
    true = crew_on(_to_lap(scenario, numbers), exercise.face, members=members, seed=1)
    own = try_way(true, way, executor=executor)
    return ExerciseTruth(numbers, surveyed, verdict, own, _best_done(exercise, numbers, own)), true


def _to_lap(scenario: Scenario, numbers: TrueNumbers) -> Scenario:
    """The job that plans are tried on: a face inside its limit is to become half as much out."""
    part = scenario.part
    measured = numbers.measure(part.limit_by)
    if measured > part.limit:
        return scenario
    return replace(scenario, part=replace(part, limit=0.5 * measured, allowance=None))


def own_way(scenario: Scenario, planned: Sequence[StagePlan]) -> WayTried:
    """The way of working of a plan's stages; all papers of the scenario where it laps nothing."""
    stages = [stage for stage in planned if stage.strokes]
    if stages:
        return WayTried(
            tuple(s.paper for s in stages),
            tuple(min(s.strokes, MOST_STROKES) for s in stages),
            stages[0].turning,
            stages[0].turn_every,
        )
    names = tuple(grit.name for grit in scenario.paper.grits)
    return WayTried(names, (200,) * len(names), "half", 100)


def _best_done(exercise: Exercise, numbers: TrueNumbers, own: PlanTrial) -> str:
    part = exercise.scenario.part
    if numbers.measure(part.limit_by) <= part.limit:
        return "leave"
    if own.looking >= LAP_AT:
        return "lap"
    return "machine shop" if own.looking <= SHOP_AT else "cannot tell"
