"""From the laps of all members to the bands, looks, stages and verdict of a plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.common.steadiness import middle_again
from handlap.sim.job.results import (
    AnotherDraw,
    Band,
    BestPoint,
    Curve,
    Errors,
    LastFinish,
    OutOfFlat,
    Plan,
    PlanChances,
    PlanCheck,
    PlateEffect,
    SpringBack,
    StagePlan,
    TakenOff,
    WholeEffort,
)
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.stroke_path import path_length
from handlap.sim.lapping import dye
from handlap.sim.lapping.conditions import Stage, law_of, load_of
from handlap.sim.lapping.ensemble import EVEN_SCORES, middle_member
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.planning.cautions import cautions
from handlap.sim.planning.course import Course
from handlap.sim.planning.crew import Crew, Members
from handlap.sim.planning.effort import MINUTES_OF, times
from handlap.sim.planning.face_first import figures_now
from handlap.sim.planning.first_paper import FirstPaper
from handlap.sim.planning.foretold import Foretold, again, foretell
from handlap.sim.planning.leg import inside_limits, measure
from handlap.sim.planning.verdict import Chances, doubt_numerics, judge
from handlap.sim.planning.what_decides import what_decides, what_widens
from handlap.sim.planning.work import SHOWN_TO, Worked

UNTIL_FLAT = "until flat: stop at the goal or when it gets worse"
UNTIL_PLAIN = "not until flat: so many strokes show that it will not get there"
MOSTLY = 0.5
"""Share of the members given up above which a paper is for showing that, and not for getting flat."""
RISE = 0.5e-6
"""A best point is named only where the median flatness rises again by more than this [m]."""


def report(
    crew: Crew,
    worked: Worked,
    paper: FirstPaper,
    *,
    errors: Errors,
    plate: PlateEffect | None,
    spring: SpringBack | None,
    notes: tuple[str, ...],
) -> Plan:
    """Put a plan together from the work of all members."""
    scenario, members = crew.scenario, crew.members
    coarse, outcome = worked.first, worked.outcome
    last = worked.courses[-1].grit
    part, grid = scenario.part, crew.rig.grid
    done = outcome.figures
    zone, edge = figures_now(crew)
    chances = chances_of(crew, worked)
    verdict = doubt_numerics(
        judge(
            chances,
            limit=part.limit,
            limit_by=part.limit_by,
            allowance=part.allowance,
            decides=what_decides(crew, coarse.grit, done),
        ),
        error=errors.of_measured(part.limit_by),
        result=float(np.median(measure(done, part.limit_by))),
        limit=part.limit,
    )
    # A face that is left as it is gets no plan that could be taken for one to work by.
    laps = verdict.answer != "leave"
    cost = foretell(crew, worked)
    stages = _stages(crew, worked, cost) if laps else ()
    shown = middle_member(outcome.effort.strokes, done.mean_depth, done.greatest_depth, done.flatness, zone)
    removed = members.before - outcome.faces
    mass = part.metal.density * part.outline.area * done.mean_depth
    peak = int(np.argmax(removed[shown]))
    # The last paper is worn when it is left.
    ra_low, ra_high = last.roughness(part.metal, worn=True)
    return Plan(
        scenario=scenario,
        members=members.count,
        seed=crew.seed,
        verdict=verdict,
        survey_notes=tuple(crew.faces.notes),
        before=OutOfFlat(Band.of(zone), Band.of(edge)),
        after=OutOfFlat(Band.of(done.flatness), Band.of(done.straightedge)),
        removed=TakenOff(
            greatest=Band.of(done.greatest_depth),
            greatest_at=(float(grid.u[peak]), float(grid.v[peak])),
            mean=Band.of(done.mean_depth),
            taper_along=Band.of(done.taper_along),
            taper_across=Band.of(done.taper_across),
            mass=Band.of(mass),
            volume=Band.of(part.outline.area * done.mean_depth),
        ),
        effort=WholeEffort(
            strokes=Band.of(cost.effort.strokes),
            minutes=Band.of(cost.effort.minutes),
            **{name: Band.of(getattr(cost.effort, name)) for name in MINUTES_OF},
            work=Band.of(outcome.work),
            power=Band.of(outcome.work / (60.0 * outcome.effort.stroke_minutes)),
            sheets=sum(stage.sheets for stage in stages),
            brushings=sum(stage.brushings for stage in stages),
        ),
        chance=PlanChances(
            goal=chances.goal,
            allowance=chances.allowance,
            both=chances.both,
            flat_already=chances.flat_straightedge if part.limit_by == "straightedge" else chances.flat_zone,
        ),
        finish=LastFinish((ra_low, ra_high), _fits(part.gasket_ra, ra_low, ra_high)),
        stages=stages,
        best_point=_best_point(coarse) if laps else None,
        curve=_curve(coarse),
        clipped=float(np.mean(coarse.clipped)),
        tipped=float(np.mean(coarse.tipped)),
        errors=errors,
        another=_another(crew, worked, cost),
        grid=grid,
        map_before=members.before[shown],
        map_after=outcome.faces[shown],
        map_removed=removed[shown],
        map_before_sd=members.before.std(axis=0),
        map_after_sd=outcome.faces.std(axis=0),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
        trials=paper.trials if laps else (),
        alike=paper.alike if laps else (),
        widens=what_widens(crew, worked, measure(done, part.limit_by)) if laps else (),
        plate=plate if laps else None,
        spring=spring if laps else None,
        notes=notes if laps else (),
        member_mean_depth=done.mean_depth,
        member_mass=mass,
    )


def _another(crew: Crew, worked: Worked, cost: Foretold) -> AnotherDraw:
    """What another seed would give."""
    even, done = crew.scores[:, :EVEN_SCORES], worked.outcome.figures
    strokes, minutes = again(crew, worked, cost)
    return AnotherDraw(
        strokes=strokes,
        minutes=minutes,
        greatest_depth=middle_again(done.greatest_depth, even),
        mean_depth=middle_again(done.mean_depth, even),
    )


def chances_of(crew: Crew, worked: Worked) -> Chances:
    """What a verdict on this work rests on."""
    part, done, first = crew.scenario.part, worked.outcome.figures, worked.first
    zone, edge = figures_now(crew)
    goal, inside = inside_limits(part, done)
    return Chances(
        flat_straightedge=float(np.mean(edge <= part.limit)),
        flat_zone=float(np.mean(zone <= part.limit)),
        goal=float(np.mean(goal)),
        allowance=None if part.allowance is None else float(np.mean(inside)),
        both=float(np.mean(goal & inside)),
        at_best=float(np.mean(first.at_best & ~goal)),
        unfinished=float(np.mean(~first.reached & ~first.at_best & ~first.given_up & ~goal)),
        given_up=float(np.mean(first.given_up & ~goal)),
    )


def _fits(asked: tuple[float, float] | None, low: float, high: float) -> bool | None:
    """Whether a roughness band suits what a gasket asks; None: not asked, or it may or may not."""
    if asked is None:
        return None
    if low >= asked[0] and high <= asked[1]:
        return True
    return False if high < asked[0] or low > asked[1] else None


def _curve(coarse: Course) -> Curve:
    def bands(values: Array) -> Array:
        return np.percentile(values[:, : coarse.complete], [5.0, 50.0, 95.0], axis=0).T

    f = coarse.figures
    return Curve(
        strokes=coarse.strokes[: coarse.complete].astype(float),
        flatness=bands(f.flatness),
        straightedge=bands(f.straightedge),
        greatest_depth=bands(f.greatest_depth),
        mean_depth=bands(f.mean_depth),
    )


def _best_point(coarse: Course) -> BestPoint | None:
    """Where the middle of the ensemble is flattest, if it gets worse again as far as all were worked."""
    flatness = coarse.figures.flatness[:, : coarse.complete]
    middle = np.median(flatness, axis=0)
    best = int(np.argmin(middle))
    if best >= middle.size - 1 or middle[best:].max() - middle[best] < RISE:
        return None
    worse = float(np.mean(flatness[:, best + 1] > flatness[:, best]))
    return BestPoint(int(coarse.strokes[best]), Band.of(flatness[:, best]), worse)


@dataclass(frozen=True)
class _Dyed:
    """The dye at every look: shares (members, looks) left, and fading or gone; chances (looks, cells) that
    it is gone, and fading or gone."""

    left: Array
    faded: Array
    gone_map: Array
    faded_map: Array


def _dyed(
    rig: Rig,
    members: Members,
    course: Course,
    looks: int,
    first_roughness: float,
    roughness: float,
) -> _Dyed:
    """Follow the dye of all members, put on before the first look and again once half of it is gone.

    Parameters
    ----------
    looks : how many of the course's looks
    first_roughness, roughness : Ra of the face when it is dyed for the first look, and later [m]
    """
    cells = slice(0, rig.grid.n_cells)
    area = rig.grid.area[cells]
    left, faded = np.empty((members.count, looks)), np.empty((members.count, looks))
    gone_map, faded_map = np.zeros((looks, area.size)), np.zeros((looks, area.size))
    for m, conditions in enumerate(members.conditions):
        faces = course.faces[m, :looks, cells]
        found = dye.follow(course.start[m, cells], faces, area, conditions.dye, first_roughness, roughness)
        left[m], faded[m] = found.left, found.faded_share
        gone_map += found.gone
        faded_map += found.faded
    return _Dyed(left, faded, gone_map / members.count, faded_map / members.count)


def _checks(
    scenario: Scenario,
    members: Members,
    course: Course,
    dyed: _Dyed,
    done_before: int,
    looks: NDArray[np.int64],
) -> tuple[PlanCheck, ...]:
    """What to expect at the looks with these indices."""
    part = scenario.part
    weight = part.metal.density * part.outline.area
    goal = measure(course.figures, part.limit_by) <= part.limit
    load = loads(scenario, members)
    # A stroke a minute is so much way a second.
    speed = path_length(scenario.strokes.pattern, scenario.strokes.length) / 60.0 * members.pace
    found = []
    for look in looks:
        flatness = course.figures.flatness[:, look]
        left = Band.of(dyed.left[:, look])
        worse = None
        if look + 1 < course.complete:
            worse = float(np.mean(course.figures.flatness[:, look + 1] > flatness))
        found.append(
            PlanCheck(
                strokes=done_before + int(course.strokes[look]),
                paper=course.grit.name,
                flatness=Band.of(flatness),
                straightedge=Band.of(course.figures.straightedge[:, look]),
                mean_depth=Band.of(course.figures.mean_depth[:, look]),
                greatest_depth=Band.of(course.figures.greatest_depth[:, look]),
                mass=Band.of(weight * course.figures.mean_depth[:, look]),
                dye_left=left,
                dye_faded=Band.of(dyed.faded[:, look]),
                dye_gone=left.rest,
                dye_gone_map=dyed.gone_map[look],
                dye_faded_map=dyed.faded_map[look],
                push=Band.of(course.friction[:, look] * load),
                power=Band.of(course.friction[:, look] * load * speed),
                reached=float(np.mean(goal[:, : look + 1].any(axis=1))),
                worse_next=worse,
            )
        )
    return tuple(found)


def _stages(crew: Crew, worked: Worked, cost: Foretold) -> tuple[StagePlan, ...]:
    """What to do and to expect on every paper."""
    scenario, rig, members, middle = crew.scenario, crew.rig, crew.members, crew.middle
    stages: list[StagePlan] = []
    total, left_by = 0, None
    for course, stops in zip(worked.courses, cost.stops, strict=True):
        paper = course.grit
        if left_by is None:
            every = worked.steps.check_every
            planned = int(every * np.ceil(np.median(stops) / every))
            stage = stage_of(scenario, middle, paper, planned, every)
            purpose = UNTIL_PLAIN if np.mean(course.given_up) > MOSTLY else UNTIL_FLAT
        else:
            planned = int(np.percentile(course.stops, 50.0, method="higher"))
            stage = replace(course.stage, strokes=planned)
            purpose = f"only until the scratches of {left_by.name} are gone"
        furthest = max(np.percentile(course.stops, SHOWN_TO), planned)
        shown = np.flatnonzero(course.strokes[: course.complete] <= furthest)
        before = dye.roughness_dyed(left_by or paper, scenario.part.metal, worked=left_by is not None)
        own = dye.roughness_dyed(paper, scenario.part.metal, worked=True)
        dyed = _dyed(rig, members, course, int(shown[-1]) + 1, before, own)
        checks = _checks(scenario, members, course, dyed, total, shown)
        stages.append(_stage(scenario, members, stage, Band.of(stops), checks, purpose))
        total += planned
        left_by = paper
    return tuple(stages)


def loads(scenario: Scenario, members: Members) -> Array:
    """Mean force of face on paper (members,) [N]."""
    return np.array([load_of(scenario, c) for c in members.conditions])


def _stage(
    scenario: Scenario,
    members: Members,
    stage: Stage,
    strokes: Band,
    checks: tuple[PlanCheck, ...],
    purpose: str,
) -> StagePlan:
    fresh = loads(scenario, members) * np.array([c.friction for c in members.conditions])
    clogs = np.array([1.0 + law_of(scenario, c, stage.grit).friction_gain for c in members.conditions])
    return StagePlan(
        paper=stage.grit.name,
        strokes=stage.strokes,
        strokes_band=strokes,
        turn_every=stage.turn_every,
        turning=scenario.turning.name,
        brush_every=stage.brush_every,
        sheet_every=stage.sheet_every,
        sheets=1 + int(times(stage.strokes, stage.sheet_every)),
        brushings=int(times(stage.strokes, stage.brush_every)),
        bedding=Band.of([c.bedding_of(stage.grit) for c in members.conditions]),
        roughness=stage.grit.roughness(scenario.part.metal),
        purpose=purpose,
        checks=checks,
        push_fresh=Band.of(fresh),
        push_clogged=Band.of(fresh * clogs),
    )
