"""From the laps of all members to the bands, looks, stages and verdict of a plan."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import stretch_of, widened
from handlap.sim.job.results import (
    Band,
    BestPoint,
    Check,
    Curve,
    Errors,
    Figures,
    Plan,
    PlateEffect,
    SpringBack,
    StagePlan,
)
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import dye, gauge
from handlap.sim.lapping.ensemble import most_typical
from handlap.sim.lapping.lap import Bench, Stage
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.cautions import cautions
from handlap.sim.planning.course import Course, Members, Stops, measure
from handlap.sim.planning.verdict import Chances, doubt_numerics, judge
from handlap.sim.planning.work import Job, Worked

SHOWN_TO = 80
"""Looks are listed up to the strokes at which this percentage of the members has stopped."""
RISE = 0.5e-6
"""A best point is named only where the median flatness rises again by more than this [m]."""


def report(
    job: Job,
    worked: Worked,
    *,
    errors: Errors,
    plate: PlateEffect | None,
    spring: SpringBack | None,
    notes: tuple[str, ...],
) -> Plan:
    """Put a plan together from the work of all members."""
    scenario, bench, gauged, members = job.scenario, job.bench, job.gauged, job.members
    coarse, stops = worked.coarse.course, worked.coarse.stops
    grits = scenario.paper.grits[worked.coarse.first :]
    outcome = worked.outcome
    part, grid = scenario.part, bench.grid
    done = outcome.figures
    # Readings leave bands that are too narrow on faces of kinds the prior does not hold.
    stretch = stretch_of(scenario.readings.table)
    zone = widened(gauge.flatness(gauged, members.before), stretch.up, stretch.down)
    edge = widened(gauge.straightedge(gauged, members.before), stretch.up, stretch.down)
    chances = _chances(scenario, zone, edge, done, stops)
    stages = _stages(job, worked)
    typical = most_typical(members.before)
    removed = members.before - outcome.faces
    mass = part.metal.density * part.outline.area * done.mean_depth
    peak = int(np.argmax(removed[typical]))
    ra_low, ra_high = grits[-1].roughness(part.metal)
    return Plan(
        scenario=scenario,
        members=members.count,
        seed=job.seed,
        verdict=doubt_numerics(
            judge(chances, limit=part.limit, limit_by=part.limit_by, allowance=part.allowance),
            error=errors.step + errors.grid,
            result=float(np.median(measure(done, part.limit_by))),
            limit=part.limit,
        ),
        survey_notes=tuple(job.faces.notes),
        chance_flat_already=chances.flat_straightedge
        if part.limit_by == "straightedge"
        else chances.flat_zone,
        chance_goal=chances.goal,
        chance_allowance=chances.allowance,
        chance_both=chances.both,
        before_flatness=Band.of(zone),
        before_straightedge=Band.of(edge),
        after_flatness=Band.of(done.flatness),
        after_straightedge=Band.of(done.straightedge),
        removed_greatest=Band.of(done.greatest_depth),
        removed_mean=Band.of(done.mean_depth),
        removed_taper_along=Band.of(done.taper_along),
        removed_taper_across=Band.of(done.taper_across),
        removed_mass=Band.of(mass),
        removed_volume=Band.of(part.outline.area * done.mean_depth),
        greatest_at=(float(grid.u[peak]), float(grid.v[peak])),
        strokes=Band.of(outcome.strokes),
        minutes=Band.of(outcome.minutes),
        work=Band.of(outcome.work),
        power=Band.of(outcome.work / (60.0 * outcome.minutes)),
        sheets=sum(stage.sheets for stage in stages),
        brushings=sum(stage.brushings for stage in stages),
        face_area=part.outline.area,
        stages=stages,
        best_point=_best_point(coarse),
        curve=_curve(coarse),
        finish=(ra_low, ra_high),
        finish_fits=_fits(part.gasket_ra, ra_low, ra_high),
        clipped=float(np.mean(coarse.clipped)),
        tipped=float(np.mean(coarse.tipped)),
        errors=errors,
        grid=grid,
        map_before=members.before[typical],
        map_after=outcome.faces[typical],
        map_removed=removed[typical],
        map_before_sd=members.before.std(axis=0),
        map_after_sd=outcome.faces.std(axis=0),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
        trials=worked.trials,
        plate=plate,
        spring=spring,
        notes=notes,
        member_mean_depth=done.mean_depth,
        member_mass=mass,
    )


def _chances(scenario: Scenario, zone: Array, edge: Array, done: Figures, stops: Stops) -> Chances:
    part = scenario.part
    goal = measure(done, part.limit_by) <= part.limit
    inside = goal if part.allowance is None else done.greatest_depth <= part.allowance
    return Chances(
        flat_straightedge=float(np.mean(edge <= part.limit)),
        flat_zone=float(np.mean(zone <= part.limit)),
        goal=float(np.mean(goal)),
        allowance=None if part.allowance is None else float(np.mean(inside)),
        both=float(np.mean(goal & inside)),
        at_best=float(np.mean(stops.at_best & ~goal)),
        unfinished=float(np.mean(~stops.reached & ~stops.at_best & ~goal)),
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
        return np.percentile(values, [5.0, 50.0, 95.0], axis=0).T

    f = coarse.figures
    return Curve(
        strokes=coarse.strokes.astype(float),
        flatness=bands(f.flatness),
        straightedge=bands(f.straightedge),
        greatest_depth=bands(f.greatest_depth),
        mean_depth=bands(f.mean_depth),
    )


def _best_point(coarse: Course) -> BestPoint | None:
    """Where the middle of the ensemble is flattest, if it gets worse again afterwards."""
    flatness = coarse.figures.flatness
    middle = np.median(flatness, axis=0)
    best = int(np.argmin(middle))
    if best >= middle.size - 1 or middle[best:].max() - middle[best] < RISE:
        return None
    worse = float(np.mean(flatness[:, best + 1] > flatness[:, best]))
    return BestPoint(int(coarse.strokes[best]), Band.of(flatness[:, best]), worse)


def _checks(
    scenario: Scenario,
    bench: Bench,
    paper: Grit,
    dyed_as: Grit,
    course: Course,
    start: Array,
    done_before: int,
    looks: NDArray[np.int64],
) -> tuple[Check, ...]:
    """What to expect at the looks with these indices; dye is renewed once half of it is gone.

    ``dyed_as`` is the paper whose scratches the face carries when it is dyed for the first
    look; ``start`` (members, n) the face then [m].
    """
    part, grid = scenario.part, bench.grid
    cells = slice(0, grid.n_cells)
    weight = part.metal.density * part.outline.area
    goal = measure(course.figures, part.limit_by) <= part.limit
    last = int(looks[-1]) + 1
    area = grid.area[cells]
    ra_first, ra = dyed_as.roughness_median(part.metal), paper.roughness_median(part.metal)
    gone = np.zeros((last, grid.n_cells))
    left = np.empty((len(start), last))
    for member, faces in enumerate(course.heights[:, :last, cells]):
        maps, left[member] = dye.follow(start[member, cells], faces, area, ra_first, ra)
        gone += maps
    gone /= len(start)
    found = []
    for look in looks:
        flatness = course.figures.flatness[:, look]
        worse = None
        if look + 1 < course.strokes.size:
            worse = float(np.mean(course.figures.flatness[:, look + 1] > flatness))
        found.append(
            Check(
                strokes=done_before + int(course.strokes[look]),
                paper=paper.name,
                flatness=Band.of(flatness),
                straightedge=Band.of(course.figures.straightedge[:, look]),
                mean_depth=Band.of(course.figures.mean_depth[:, look]),
                greatest_depth=Band.of(course.figures.greatest_depth[:, look]),
                mass=Band.of(weight * course.figures.mean_depth[:, look]),
                dye_left=Band.of(left[:, look]),
                dye_gone=gone[look],
                reached=float(np.mean(goal[:, : look + 1].any(axis=1))),
                worse_next=worse,
            )
        )
    return tuple(found)


def _stages(job: Job, worked: Worked) -> tuple[StagePlan, ...]:
    """What to do and to expect on every paper."""
    scenario, bench, members, middle = job.scenario, job.bench, job.members, job.middle
    coarse, stops, finish = worked.coarse.course, worked.coarse.stops, worked.finish
    grits = scenario.paper.grits[worked.coarse.first :]
    check_every = worked.coarse.check_every
    stop = coarse.strokes[stops.look]
    planned = int(check_every * np.ceil(np.median(stop) / check_every))
    shown = np.flatnonzero(coarse.strokes <= max(np.percentile(stop, SHOWN_TO), planned))
    checks = _checks(scenario, bench, grits[0], grits[0], coarse, members.before, 0, shown)
    stage = stage_of(scenario, middle, grits[0], planned, check_every)
    stages = [
        _stage(
            scenario,
            members,
            stage,
            Band.of(stop),
            checks,
            "until flat: stop at the goal or when it gets worse",
        )
    ]
    total = planned
    previous = grits[0]
    for step in finish:
        looks = np.arange(step.course.strokes.size)
        checks = _checks(scenario, bench, step.stage.grit, previous, step.course, step.start, total, looks)
        strokes = Band.of(np.full(members.count, float(step.stage.strokes)))
        purpose = f"only until the scratches of {previous.name} are gone"
        stages.append(_stage(scenario, members, step.stage, strokes, checks, purpose))
        total += step.stage.strokes
        previous = step.stage.grit
    return tuple(stages)


def _stage(
    scenario: Scenario, members: Members, stage: Stage, strokes: Band, checks: tuple[Check, ...], purpose: str
) -> StagePlan:
    def times(every: int) -> int:
        return max(0, -(-stage.strokes // every) - 1) if every else 0

    sheets = times(stage.sheet_every)
    return StagePlan(
        paper=stage.grit.name,
        strokes=stage.strokes,
        strokes_band=strokes,
        turn_every=stage.turn_every,
        turning=scenario.turning.name,
        brush_every=stage.brush_every,
        sheet_every=stage.sheet_every,
        sheets=1 + sheets,
        brushings=times(stage.brush_every),
        bedding=Band.of([c.bedding_of(stage.grit) for c in members.conditions]),
        roughness=stage.grit.roughness(scenario.part.metal),
        purpose=purpose,
        checks=checks,
    )
