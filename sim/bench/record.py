"""The record that stays with a part: what it was, what was done, what it is, and what the cut does.

Depths positive = taken off [m].  Each limit is met, not met, or it cannot be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.special import ndtr

from handlap.sim.bench.after_cut import Effect, effects_of
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.learn import CELLS, Learnt, first_state, learn, open_workshop
from handlap.sim.bench.log_evidence import Weighing
from handlap.sim.bench.replan import MODEL, Z90
from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.face.survey import SURE, Survey, survey_face
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Part, Readings, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import draw_plate_scores, draw_scores
from handlap.sim.materials import grits
from handlap.sim.materials.mass import SWARF_LOST, mean_depth, mean_depth_band
from handlap.sim.planning.cautions import cautions
from handlap.sim.planning.course import measure
from handlap.sim.planning.work import Progress

AGREE = 2.0
"""Weighing and model agree within this many standard errors of both."""
USELESS = 0.5
"""A model depth with a relative standard error beyond this can neither agree nor disagree."""

Answer = Literal["met", "not met", "cannot tell"]
Agreement = Literal["agree", "disagree", "cannot tell"]


@dataclass(frozen=True)
class LimitHeld:
    """A limit and whether it is met, with the reason in words; ``chance`` of meeting it, if counted."""

    name: str
    answer: Answer
    reason: str
    chance: float | None = None


@dataclass(frozen=True)
class Weighed:
    """Mean depth off by one way of weighing, and by the model without any weighing, over the same strokes.

    ``way``: "part" or "swarf"; ``strokes``: from and to, as counted from the start [-].
    """

    way: str
    mass: float
    """[kg]"""
    depth: Band
    model: Band
    agreement: Agreement
    strokes: tuple[int, int]


@dataclass(frozen=True)
class PaperUsed:
    """One paper: strokes, sheets and brushings at least, as logged."""

    paper: str
    strokes: int
    sheets: int
    brushings: int


@dataclass(frozen=True)
class Record:
    """Everything the record of a part says; bands are over the ensemble, SI units.

    Attributes
    ----------
    before, after : surveys by the readings alone; ``after`` None where nothing was read after the
        last stroke
    learnt : the ensemble of readings and log together
    measured, flatness : what that ensemble says of the face now [m]
    minutes : time at work; ``minutes_logged``: whether all of it was written down [min]
    finish : roughness Ra left by the last paper, low and high [m]
    """

    scenario: Scenario
    log: JobLog
    before: Survey
    after: Survey | None
    learnt: Learnt
    measured: Band
    flatness: Band
    mean_depth: Band
    greatest_depth: Band
    taper_along: Band
    taper_across: Band
    weighed: tuple[Weighed, ...]
    papers: tuple[PaperUsed, ...]
    minutes: float
    minutes_logged: bool
    finish: tuple[float, float]
    limits: tuple[LimitHeld, ...]
    effects: tuple[Effect, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    seed: int


def make_record(
    scenario: Scenario,
    log: JobLog,
    *,
    members: int = 64,
    seed: int = 0,
    cells: int = CELLS,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Record:
    """Draw up the record of a job from its scenario and its log.

    Raises
    ------
    InputError : for a log without strokes, or a cut deeper than a chamber
    """
    if not log.strokes:
        raise InputError("the log holds no strokes: there is nothing to record yet")
    tell = progress or (lambda done, what: None)
    tell(0.0, "surveying the face before and after")
    part = scenario.part
    before = survey_face(part, scenario.readings, count=max(members, 100), seed=seed)
    after = _survey_after(scenario, log, max(members, 100), seed)
    faces = before.ensemble
    workshop = open_workshop(scenario, log, faces, cells=cells, seed=seed, executor=executor)
    prior = first_state(workshop, faces, draw_scores(members, seed), draw_plate_scores(members, seed))
    tell(0.4, "going through the log without its weighings")
    unweighed = tuple(look for look in workshop.looks if not isinstance(look, Weighing))
    blind = learn(replace(workshop, looks=unweighed), prior)
    tell(0.7, "going through the whole log")
    learnt = learn(workshop, prior) if len(unweighed) < len(workshop.looks) else blind
    crowded = not learnt.believed
    # What the first readings cannot tell, nothing that was learnt on top of them may.
    learnt = replace(learnt, believed=learnt.believed and faces.converged)
    figures = gauge.figures(workshop.gauged, learnt.posterior.before, learnt.now)
    now = measure(figures, part.limit_by)
    mean, greatest = Band.of(figures.mean_depth), Band.of(figures.greatest_depth)
    effects = effects_around(part, mean, greatest)
    last = grits.find(log.paper)
    finish = last.roughness(part.metal)
    chance = float(np.mean(ndtr((part.limit - now) / (MODEL / Z90))))
    papers = _papers(log.standing)
    minutes, logged = _minutes(scenario, log.standing)
    tell(1.0, "done")
    return Record(
        scenario=scenario,
        log=log,
        before=before,
        after=after,
        learnt=learnt,
        measured=_widened(Band.of(now)),
        flatness=_widened(Band.of(figures.flatness)),
        mean_depth=mean,
        greatest_depth=greatest,
        taper_along=Band.of(figures.taper_along),
        taper_across=Band.of(figures.taper_across),
        weighed=_weighed(part, blind, workshop.looks),
        papers=papers,
        minutes=minutes,
        minutes_logged=logged,
        finish=finish,
        limits=judge_limits(part, after, learnt, chance, figures.greatest_depth, finish, effects),
        effects=effects,
        notes=_notes(log, before, after, learnt, crowded),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
        seed=seed,
    )


def effects_around(part: Part, mean: Band, greatest: Band) -> tuple[Effect, ...]:
    """What a cut does around a part, see :func:`handlap.sim.bench.after_cut.effects_of`.

    Raises
    ------
    InputError : if the cut is deeper than a chamber
    """
    try:
        return effects_of(part.after, mean, greatest)
    except ValueError as error:
        raise InputError(f"part.after: {error}") from None


def _widened(band: Band) -> Band:
    return Band(max(0.0, band.p05 - MODEL), band.p50, band.p95 + MODEL)


def last_readings(entries: Sequence[Entry]) -> tuple[Entry | None, bool]:
    """The last entry with readings, and whether strokes came after it."""
    for place in range(len(entries) - 1, -1, -1):
        if entries[place].readings:
            return entries[place], any(e.strokes for e in entries[place + 1 :])
    return None, False


def _survey_after(scenario: Scenario, log: JobLog, count: int, seed: int) -> Survey | None:
    entry, stale = last_readings(log.standing)
    if entry is None or stale:
        return None
    readings = Readings(
        lines=entry.readings, edge_sd=scenario.readings.edge_sd, edge_bow=scenario.readings.edge_bow
    )
    return survey_face(scenario.part, readings, count=count, seed=seed)


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
    course, grid = blind.workshop.course, blind.workshop.bench.grid
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


def _by_chance(chance: float) -> Answer:
    if chance >= SURE:
        return "met"
    return "not met" if chance <= 1.0 - SURE else "cannot tell"


def judge_limits(
    part: Part,
    after: Survey | None,
    learnt: Learnt,
    chance: float,
    greatest: Array,
    finish: tuple[float, float],
    effects: Sequence[Effect],
) -> tuple[LimitHeld, ...]:
    """Every limit of a part, and whether it is met.

    Parameters
    ----------
    after : survey by the readings after the last stroke, if there are any
    chance : chance of meeting the flatness limit by readings and log together [-]
    greatest : depth of the deepest spot (members,) [m]
    finish : roughness Ra, low and high [m]
    """
    found = [_flatness(part, after, learnt, chance)]
    if part.allowance is not None:
        held = float(np.mean(greatest <= part.allowance))
        answer: Answer = _by_chance(held) if learnt.believed else "cannot tell"
        found.append(LimitHeld("removal allowance", answer, "by the log, at the deepest spot", held))
    if part.gasket_ra is not None:
        fits = _fits(part.gasket_ra, finish)
        found.append(LimitHeld("finish for the gasket", fits, "by the last paper; not measured"))
    words: dict[bool | None, Answer] = {True: "met", False: "not met", None: "cannot tell"}
    found += [
        LimitHeld(effect.name, words[effect.met], "by the depth off") for effect in effects
        if effect.limit is not None
    ]  # fmt: skip
    return tuple(found)


def _flatness(part: Part, after: Survey | None, learnt: Learnt, chance: float) -> LimitHeld:
    """The readings decide; where they leave it open, readings and log together."""
    together = _by_chance(chance) if learnt.believed else "cannot tell"
    if after is None:
        return LimitHeld(
            "flatness", "cannot tell",
            "nothing was read after the last stroke; read the lines and log them", chance,
        )  # fmt: skip
    said: Answer = {"yes": "met", "no": "not met", "cannot tell": "cannot tell"}[after.verdict.answer]  # type: ignore[assignment]
    if said == "cannot tell" and together != "cannot tell":
        return LimitHeld("flatness", together, "by the readings after and the log together", chance)
    if {said, together} == {"met", "not met"}:
        return LimitHeld(
            "flatness", "cannot tell", "the readings after the work and the log as a whole disagree", chance
        )
    return LimitHeld("flatness", said, "by the readings after: " + after.verdict.reason, after.verdict.chance)


def _fits(asked: tuple[float, float], finish: tuple[float, float]) -> Answer:
    if finish[0] >= asked[0] and finish[1] <= asked[1]:
        return "met"
    return "not met" if finish[1] < asked[0] or finish[0] > asked[1] else "cannot tell"


def _notes(
    log: JobLog, before: Survey, after: Survey | None, learnt: Learnt, crowded: bool
) -> tuple[str, ...]:
    notes = list(log.damage)
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
    if crowded:
        notes.append("the log says more than so few members can carry: run it with more (--members)")
    return tuple(dict.fromkeys(notes))
