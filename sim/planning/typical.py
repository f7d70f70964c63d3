"""One lap in place of many: the most typical member, with every number at its middle.

It measures what the computing itself errs by, and what is better looked at on one face than on all.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band, Errors, PlateEffect
from handlap.sim.job.scenario import Plate, Scenario
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import LapRun, run_stage, stage_layout
from handlap.sim.lapping.resolution import ALLOWED, HALF_SEEN, cell_errors, errors_of, quad_within, row_errors
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.planning.course import run_course
from handlap.sim.planning.crew import Crew, few_of, on_cells, vary
from handlap.sim.planning.fineness import CELLS_SHARE, TRIED
from handlap.sim.planning.leg import STOP_AT, ToGoal, measure, stops_at
from handlap.sim.planning.work import MOST_STROKES, Worked

EFFECT_MEMBERS = 24
"""Members on which the effect of the plate is measured."""
SPARE = 1.3
"""They are worked this much beyond the last stop, to see how flat the plate lets them become; as far as
anybody may go where faces were given up on their way down."""


def to_middle_stop(crew: Crew, worked: Worked) -> Stage:
    """The first paper up to where the middle of the members stops."""
    return stage_of(
        crew.scenario, crew.middle, worked.first.grit, worked.middle_stop, worked.steps.check_every
    )


def lap_typical(
    crew: Crew, worked: Worked, scenario: Scenario | None = None, *, quad_strokes: float | None = None
) -> tuple[LapRun, Crew]:
    """The most typical member lapped to the middle stop with middle numbers, and the crew it is of.

    ``scenario``: a changed one to lap it in; ``quad_strokes``: other than those of the work.
    """
    changed = crew if scenario is None else vary(crew, scenario)
    stage = to_middle_stop(changed, worked)
    layout = stage_layout(
        changed.rig, stage, quad_strokes=quad_strokes or worked.steps.legs[0].quad, seed=crew.seed
    )
    face = changed.members.before[crew.typical]
    return run_stage(changed.rig, face, changed.middle, stage, layout), changed


def cells_asked(crew: Crew, worked: Worked) -> Crew:
    """The crew on as few cells as what is reported allows, with what they make it err by.

    Cells are made finer until those twice as long leave so little of the tolerance to be kept; measured like
    all errors on the most typical member, where the middle of the members stops.

    Parameters
    ----------
    worked : the paper that it is going to work on, tried by some of its members
    """
    # Rows of a trial are so long that cells of another size may come out anywhere within their error.
    quad = worked.steps.legs[0].quad / TRIED.longer
    while True:
        lapped, _ = lap_typical(crew, worked, quad_strokes=quad)
        errs = _cells_err(crew, worked, lapped, quad)
        finer = crew.fineness.finer_cells(crew.rig, crew.cells)
        stated = crew.scenario.exact.cell is not None
        most = max(err / ALLOWED[name] for name, err in errs.items())
        if most <= CELLS_SHARE * crew.tolerance or finer == crew.cells or stated:
            return replace(crew, cells_err=errs)
        crew = on_cells(crew, finer)


def _cells_err(crew: Crew, worked: Worked, lapped: LapRun, quad: float) -> dict[str, float]:
    """Errors of what is reported that cells make, by figure [m], from the lap of the most typical member."""
    face = crew.typical % crew.faces.count
    return cell_errors(
        crew.rig, crew.gauged, lambda points: np.asarray(crew.faces.heights_at(points))[face],
        crew.middle, to_middle_stop(crew, worked), quad_strokes=quad, seed=crew.seed,
        before=crew.members.before[crew.typical], lapped=lapped.heights[-1],
    )  # fmt: skip


def measure_errors(crew: Crew, worked: Worked, lapped: LapRun | None = None) -> Errors:
    """What the computing errs by at the middle stop, measured on the most typical member.

    ``lapped``: its lap by :func:`lap_typical`, where the caller has it already.
    """
    run = lapped or lap_typical(crew, worked)[0]
    quad = worked.steps.legs[0].quad
    finer, _ = lap_typical(crew, worked, quad_strokes=0.5 * quad)
    before = crew.members.before[crew.typical]
    cells = _cells_err(crew, worked, run, quad)
    return errors_of(
        row_errors(crew.gauged, (before, run.heights[-1], finer.heights[-1])),
        cells,
        tolerance=crew.fineness.worst,
        asked=crew.tolerance,
        step=float(np.max(np.abs(run.heights[-1] - finer.heights[-1]))),
        count=(crew.rig.grid.n_cells, worked.steps.legs[0].rows),
        strokes=_strokes_apart(crew, before, run, finer),
    )


def _strokes_apart(crew: Crew, before: Array, run: LapRun, finer: LapRun) -> float | None:
    """Error of the strokes to the goal, from a lap of a face (n,) [m] and the same lap with twice the rows.

    Where the face is not down to the goal by then, from the strokes to what both laps come down to; None
    where it does not get flatter.
    """
    seen = np.array([crew.measured(np.vstack([before[None], lap.heights])) for lap in (run, finer)])
    goal = max(STOP_AT * crew.scenario.part.limit, float(seen.min(axis=1).max()))
    if goal >= seen[0, 0]:
        return None
    strokes = np.array([0.0, *run.strokes])
    stops, _ = stops_at(strokes, seen, np.full(2, strokes.size), goal)
    return HALF_SEEN * float(abs(np.diff(stops)[0]))


def _plate_errs(plate: Plate) -> bool:
    """Whether anything is stated that makes the plate other than flat."""
    bent = plate.glass is not None and plate.glass.gap > 0.0
    return bool(plate.tolerance or (plate.shape and plate.shape_height) or plate.heights is not None or bent)


def plate_effect(crew: Crew, worked: Worked) -> PlateEffect | None:
    """What the plate does to the flatness: the same work on it and on a true one, member by member.

    None where the plate is taken as flat.
    """
    scenario, limit = crew.scenario, crew.scenario.part.limit
    if not _plate_errs(scenario.plate):
        return None
    crew.tell(0.97, "lapping again on a true plate")
    true = replace(
        scenario.plate, grade=None, tolerance=0.0, shape=None, shape_height=0.0, heights=None, glass=None
    )
    # A difference of two laps in step, each far beyond the stop: coarser ones tell it as well.
    few = few_of(crew, EFFECT_MEMBERS, TRIED)
    every = worked.steps.check_every
    most = min(SPARE * float(worked.first.stops.max()), MOST_STROKES)
    if worked.first.given_up.any():
        most = MOST_STROKES
    strokes = every * max(2, int(np.ceil(most / every)))
    # Rows and looks grow beyond where most have stopped, as in the work itself.
    horizon = min(strokes, worked.steps.legs[0].horizon)
    stage = stage_of(scenario, crew.middle, worked.first.grit, horizon, every)
    quad = quad_within(TRIED.longer * worked.steps.legs[0].quad, horizon, few.most_rows)
    rule = ToGoal(STOP_AT * limit, strokes)
    shown, ends = [], []
    for now in (few, vary(few, replace(scenario, plate=true))):
        course = run_course(
            now.rig, now.gauged, now.members, now.members.before, stage,
            quad_strokes=quad, seed=crew.seed, executor=crew.executor, rule=rule,
            limit_by=scenario.part.limit_by, shown=strokes, most=strokes,
        )  # fmt: skip
        shown.append(measure(course.figures, scenario.part.limit_by))
        ends.append(course)
    own, flat = (measure(course.end, scenario.part.limit_by) for course in ends)
    at = ends[0].stops
    looks = np.concatenate([[0.0], ends[1].strokes])
    on_true = np.column_stack([few.measured(few.members.before), shown[1]])
    alike = np.array([np.interp(stroke, looks, row) for stroke, row in zip(at, on_true, strict=True)])
    return PlateEffect(
        added=Band.of(own - alike),
        floor=Band.of(shown[0].min(axis=1)),
        floor_true=Band.of(shown[1].min(axis=1)),
        chance_goal=float(np.mean(own <= limit)),
        chance_goal_true=float(np.mean(flat <= limit)),
    )
