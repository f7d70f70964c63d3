"""The crew that works a job: its faces, each with hands, paper and luck of its own, and its bench.

All that is drawn, is drawn here, and so is all that is set up: two questions about the same job are
put to the same crew, and differ in nothing that was not asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.face.face_ensemble import FaceEnsemble
from handlap.sim.face.proud import refuse_proud
from handlap.sim.face.told import faces_to_work_on
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.dye import draw_dyes
from handlap.sim.lapping.ensemble import (
    SCORES,
    conditions_at,
    conditions_of,
    draw_plate_scores,
    most_typical,
    scores_for,
    spread_over,
    strokes_per_minute,
)
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.lapping.resolution import HeldTo, Resolution, quad_within
from handlap.sim.lapping.set_up import Rig, set_up
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.planning.everybody import Everybody
from handlap.sim.planning.fineness import PLANNED, Fineness, find_steps

MOST_MEMBERS = 4096


@dataclass(frozen=True)
class Members:
    """Faces (members, n) on a rig's grid [m], conditions and pace [strokes/min] of each."""

    before: Array
    conditions: tuple[Conditions, ...]
    pace: Array

    @property
    def count(self) -> int:
        """Number of members."""
        return len(self.conditions)

    def some(self, index: NDArray[np.int64]) -> Members:
        """The members with these indices (k,)."""
        return Members(self.before[index], tuple(self.conditions[i] for i in index), self.pace[index])


Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Crew:
    """All members of an ensemble at their rig.

    Attributes
    ----------
    scenario : the job
    rig, gauged : part, plate and paper on the grid, and what takes the figures there
    faces : the faces drawn, evaluable anywhere
    scores : standard normal scores (members, k) of hands and paper, see :mod:`handlap.sim.lapping.ensemble`
    plate_scores : of the plate's own shape (members, k)
    members : faces on the grid, conditions and pace
    everybody : who could have been drawn as well
    middle : every number at its middle
    fineness : how finely laps are computed
    cells : with which the rig was set up, about; ``cells_err``: what of the error asked for they take, by
        figure [m]; nothing where it was not measured
    seed : of all that was drawn
    executor : where the members work; None: threads of this process
    tell : called with the share done and what is being done
    """

    scenario: Scenario
    rig: Rig
    gauged: Gauge
    faces: FaceEnsemble
    scores: Array
    plate_scores: Array
    members: Members
    everybody: Everybody
    middle: Conditions
    fineness: Fineness
    seed: int
    executor: Executor | None
    tell: Progress
    cells: int
    cells_err: Mapping[str, float] = field(default_factory=dict)

    @property
    def typical(self) -> int:
        """The member whose face is nearest to the middle of all."""
        return most_typical(self.members.before)

    @property
    def most_rows(self) -> int:
        """Rows that a lap may have up to its horizon [-]."""
        return self.fineness.most_rows(self.rig)

    @property
    def tolerance(self) -> float:
        """Error asked of what is reported [m]."""
        return self.fineness.asked(self.rig)

    def measured(self, faces: Array) -> Array:
        """The figure that the limit is held against, of faces (k, n) [m]."""
        return gauge.measured(self.gauged, faces, self.scenario.part.limit_by)

    def steps_for(self, stage: Stage) -> Resolution:
        """How long rows may be on a stage: those that keep the tolerance on the most typical member.

        Turns that fall within less wear than the tolerance need no rows of their own.
        """
        per_turn = stage.turn_every * depth_per_stroke(self.scenario, self.middle, stage.grit)
        small = 0.0 < per_turn <= self.fineness.tolerance
        found = find_steps(
            self.rig, self.members.before[self.typical], self.middle,
            replace(stage, turn_every=0) if small else stage, self.fineness, seed=self.seed, tell=self.tell,
            held=HeldTo(self.gauged, self.tolerance, self.cells_err),
        )  # fmt: skip
        quad = self.fineness.longer * found.quad_strokes
        return replace(found, quad_strokes=quad_within(quad, stage.strokes, self.most_rows))


def open_crew(
    scenario: Scenario,
    *,
    members: int,
    seed: int,
    executor: Executor | None = None,
    tell: Progress | None = None,
    fineness: Fineness = PLANNED,
) -> Crew:
    """Draw the faces and the numbers of an ensemble, and set the rig up.

    Raises
    ------
    InputError : for an ensemble size out of range, or for something that stands proud of the face
    FaceDecides : if the readings cannot tell of the face what a plan would rest on
    """
    if not 2 <= members <= MOST_MEMBERS:
        raise InputError(f"--members {members}: allowed is 2 to {MOST_MEMBERS}")
    refuse_proud(scenario.part)
    faces = faces_to_work_on(scenario, count=members, seed=seed)
    return crew_of(
        scenario, faces, members=members, seed=seed, executor=executor, tell=tell, fineness=fineness
    )


def crew_of(
    scenario: Scenario,
    faces: FaceEnsemble,
    *,
    members: int,
    seed: int,
    executor: Executor | None = None,
    tell: Progress | None = None,
    fineness: Fineness = PLANNED,
) -> Crew:
    """A crew on given faces, of which there may be fewer than members."""
    return _crew(
        scenario, faces, scores_for(scenario, members, seed), draw_plate_scores(members, seed), fineness,
        seed, executor, tell or (lambda done, what: None), fineness.cells,
    )  # fmt: skip


def vary(crew: Crew, scenario: Scenario) -> Crew:
    """The same faces, hands, paper and plate (common random numbers) on a changed scenario."""
    return _crew(
        scenario, crew.faces, crew.scores, crew.plate_scores, crew.fineness, crew.seed, crew.executor,
        crew.tell, crew.cells, crew,
    )  # fmt: skip


def on_cells(crew: Crew, cells: int) -> Crew:
    """The same crew with its rig set up on ``cells``, about."""
    if cells == crew.cells:
        return crew
    return _crew(
        crew.scenario, crew.faces, crew.scores, crew.plate_scores, crew.fineness, crew.seed, crew.executor,
        crew.tell, cells,
    )  # fmt: skip


def few_of(crew: Crew, members: int, fineness: Fineness | None = None) -> Crew:
    """The same crew with at most ``members`` of its members, spread evenly, and other fineness if given.

    What is tried with it has a share of its own, not that of the whole work: it is not told.
    """
    found = crew
    if fineness is not None:
        found = replace(on_cells(crew, fineness.cells), fineness=fineness, cells_err={})
    some = spread_over(crew.members.count, members)
    return replace(
        found,
        scores=crew.scores[some],
        plate_scores=crew.plate_scores[some],
        members=found.members.some(some),
        everybody=crew.everybody.some(some),
        tell=Quietly(crew.tell),
    )


def _crew(
    scenario: Scenario,
    faces: FaceEnsemble,
    scores: Array,
    plate_scores: Array,
    fineness: Fineness,
    seed: int,
    executor: Executor | None,
    tell: Progress,
    cells: int,
    like: Crew | None = None,
) -> Crew:
    """Set the rig up; ``like``: a crew on the same face, whose grid and faces are taken over."""
    outline = scenario.part.outline
    if like is not None and like.scenario.part.outline is outline:
        rig = set_up(scenario, like=like.rig)
        gauged, before, everybody = like.gauged, like.members.before, like.everybody
    else:
        rig, gauged = gauge.rig_and_gauge(scenario, cells=cells)
        before = np.array(faces.heights_at(rig.grid.points))
        if before.shape[0] < scores.shape[0]:
            before = np.resize(before, (scores.shape[0], before.shape[1]))
        everybody = Everybody(scenario, faces, rig, gauged, before, scores, seed, np.arange(len(scores)))
    dyes = draw_dyes(len(scores), seed) if like is None else [c.dye for c in like.members.conditions]
    conditions = conditions_of(scenario, scores, plate_scores, dyes)
    return Crew(
        scenario=scenario,
        rig=rig,
        gauged=gauged,
        faces=faces,
        scores=scores,
        plate_scores=plate_scores,
        members=Members(before, conditions, strokes_per_minute(scenario, scores)),
        everybody=everybody,
        middle=conditions_at(scenario, np.zeros(len(SCORES))),
        fineness=fineness,
        seed=seed,
        executor=executor,
        tell=tell,
        cells=cells,
        cells_err={} if like is None else like.cells_err,
    )
