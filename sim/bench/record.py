"""The record that stays with a part: what it was, what was done, what it is, and what the cut does.

Depths positive = taken off [m].  Each limit is met, not met, or it cannot be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from typing import Literal

import numpy as np

from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.learn import CELLS, Learnt, learn
from handlap.sim.bench.log_evidence import Weighing
from handlap.sim.bench.standing import FACES_READ, Z90, Standing, open_log, where_it_stands
from handlap.sim.common.said import record, said, unsaid
from handlap.sim.face.survey import Survey, survey_face
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Part, Scenario
from handlap.sim.materials.mass import SWARF_LOST, mean_depth, mean_depth_band
from handlap.sim.planning.cautions import cautions
from handlap.sim.planning.crew import Progress

AGREE = 2.0
"""Weighing and model agree within this many standard errors of both."""
USELESS = 0.5
"""A model depth with a relative standard error beyond this can neither agree nor disagree."""

Agreement = Literal["agree", "disagree", "cannot tell"]


@record()
class Weighed:
    """Mean depth off by one way of weighing, and by the model without any weighing, over the same strokes.

    ``way``: "part" or "swarf"; ``strokes``: from and to, as counted from the start [-].
    """

    way: str
    mass: float = said("g")
    """[kg]"""
    depth: Band = said("um", "mean_depth_um")
    model: Band = said("um", "model_without_weighing_um")
    agreement: Agreement
    strokes: tuple[int, int]


@record()
class PaperUsed:
    """One paper: strokes, sheets and brushings at least, as logged."""

    paper: str
    strokes: int
    sheets: int
    brushings: int = said(or_null=True)
    """Zero is not known: a brushing that nobody logged may have been done."""


@record()
class WorkDone:
    """Papers used, and time at work [min]; ``all_logged``: whether all of it was written down."""

    papers: tuple[PaperUsed, ...]
    minutes: float
    all_logged: bool = said(name="minutes_all_logged")


@record()
class PartRecord:
    """Everything the record of a part says; bands are over the ensemble, SI units.

    Attributes
    ----------
    before : survey by the readings before the work alone
    learnt : the ensemble of readings and log together
    now : the job as it stands
    """

    scenario: Scenario = unsaid()
    log: JobLog = unsaid()
    seed: int
    before: Survey = unsaid()
    learnt: Learnt = unsaid()
    now: Standing = unsaid()
    weighed: tuple[Weighed, ...]
    work: WorkDone = unsaid()
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def make_record(
    scenario: Scenario,
    log: JobLog,
    *,
    members: int = 64,
    seed: int = 0,
    cells: int = CELLS,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> PartRecord:
    """Draw up the record of a job from its scenario and its log.

    Raises
    ------
    InputError : for a log without strokes, or a cut deeper than a chamber
    """
    tell = progress or (lambda done, what: None)
    part = scenario.part
    tell(0.0, "inferring the face from the readings")
    # What was done is written down whatever the first readings tell; what it comes to is not claimed.
    ready, prior = open_log(
        scenario,
        log,
        members=members,
        seed=seed,
        untold=True,
        cells=cells,
        executor=executor,
        tell=tell,
    )
    tell(0.2, "surveying the face before the work")
    before = survey_face(part, scenario.readings, count=max(members, FACES_READ), seed=seed)
    tell(0.4, "going through the log without its weighings")
    unweighed = tuple(look for look in ready.looks if not isinstance(look, Weighing))
    blind = learn(replace(ready, looks=unweighed), prior)
    tell(0.7, "going through the whole log")
    learnt = learn(ready, prior) if len(unweighed) < len(ready.looks) else blind
    now = where_it_stands(learnt)
    tell(1.0, "done")
    return PartRecord(
        scenario=scenario,
        log=log,
        seed=seed,
        before=before,
        learnt=learnt,
        now=now,
        weighed=_weighed(part, blind, ready.looks),
        work=WorkDone(_papers(log.standing), *_minutes(scenario, log.standing)),
        notes=_notes(log, before, now.after, learnt),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
    )


def _papers(entries: Sequence[Entry]) -> tuple[PaperUsed, ...]:
    """Papers in the order of their first use."""
    used: dict[str, list[int]] = {}
    before, fresh = "", False
    for entry in entries:
        fresh = fresh or entry.new_sheet
        if not entry.strokes:
            continue
        counts = used.setdefault(entry.paper, [0, 0, 0])
        inside = (entry.strokes - 1) // entry.brush_every if entry.brush_every else 0
        counts[0] += entry.strokes
        counts[1] += int(fresh or entry.paper != before)
        counts[2] += int(entry.brushed) + inside
        before, fresh = entry.paper, False
    return tuple(PaperUsed(paper, *counts) for paper, counts in used.items())


def _minutes(scenario: Scenario, entries: Sequence[Entry]) -> tuple[float, bool]:
    """Minutes at work, guessed from the pace where they were not written down."""
    pace = scenario.hands.strokes_per_minute.value
    worked = [e for e in entries if e.strokes or e.minutes]
    return (
        sum(e.strokes / pace if e.minutes is None else e.minutes for e in worked),
        all(e.minutes is not None for e in worked),
    )


def _weighed(part: Part, blind: Learnt, looks: Sequence[object]) -> tuple[Weighed, ...]:
    """Every way of weighing against the model that knows of none."""
    course, grid = blind.ready.course, blind.ready.rig.grid
    strokes = [0] * course.states
    for state, done in zip(course.state, course.strokes, strict=True):
        strokes[state] = done
    found = []
    for way, words, lost in (("part", "weight of the part", (0.0, 0.0)), ("swarf", "swarf", SWARF_LOST)):
        own = [look for look in looks if isinstance(look, Weighing) and look.words == words]
        if not own:
            continue
        first, last = own[0].first, own[-1].last
        mass = sum(look.mass for look in own)
        error = Z90 * float(np.sqrt(sum(look.sd**2 for look in own)))
        low = mean_depth_band(max(0.0, mass - error), part.metal, part.outline.area, lost)[0]
        high = mean_depth_band(max(0.0, mass + error), part.metal, part.outline.area, lost)[1]
        middle = mean_depth(max(0.0, mass) / (1.0 - 0.5 * sum(lost)), part.metal.density, part.outline.area)
        off = blind.states[:, first, : grid.n_cells] - blind.states[:, last, : grid.n_cells]
        model = off @ grid.area[: grid.n_cells] / grid.area.sum()
        depth = Band(low, min(max(middle, low), high), high)
        found.append(
            Weighed(way, mass, depth, Band.of(model), agreement(depth, Band.of(model)),
                    (strokes[first], strokes[last]))
        )  # fmt: skip
    return tuple(found)


def agreement(depth: Band, model: Band) -> Agreement:
    """Whether two bands of one depth agree.

    >>> agreement(Band(9.0, 10.0, 11.0), Band(8.0, 10.5, 13.0))
    'agree'
    """
    errors = [(band.p95 - band.p05) / (2.0 * Z90) for band in (depth, model)]
    if model.p50 <= 0.0 or errors[1] > USELESS * model.p50:
        return "cannot tell"
    return (
        "agree" if abs(depth.p50 - model.p50) <= AGREE * float(np.hypot(errors[0], errors[1])) else "disagree"
    )


def _notes(log: JobLog, before: Survey, after: Survey | None, learnt: Learnt) -> tuple[str, ...]:
    notes = [*log.damage, *log.notes]
    if not before.ensemble.converged:
        notes.append(f"the readings before the work: {before.verdict.reason}")
    if after is not None:
        notes += [c.words for c in after.contradictions]
        notes += after.notes
    notes += [
        f"entry {d.entry}, {d.what}: "
        + ("does not fit the rest of the log" if d.after else "was far from what was expected")
        for d in learnt.doubts
    ]
    if not learnt.believed and learnt.ready.settled:
        notes.append("the log says more than so few members can carry: run it with more (--members)")
    return tuple(dict.fromkeys(notes))
