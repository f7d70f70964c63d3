"""One case of a lesson: set up, worked by all members, and what became of it in figures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import bend_components, depth_to_clear
from handlap.sim.face.straightedge import LineSet, line_gaps
from handlap.sim.job.results import FIGURE_NAMES, Figures
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import dye, gauge
from handlap.sim.lapping.conditions import Conditions, Stage, load_of, tipping_words
from handlap.sim.lapping.ensemble import (
    SCORES,
    conditions_at,
    conditions_of,
    draw_plate_scores,
    draw_scores,
    most_typical,
    strokes_per_minute,
)
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.lapping.spring_back import spring_figures
from handlap.sim.planning.course import run_legs
from handlap.sim.planning.crew import Members
from handlap.sim.planning.fineness import TAUGHT, find_steps
from handlap.sim.planning.leg import LegRun, lay_leg, measure
from handlap.sim.planning.work import TIP_REFUSED
from handlap.sim.teaching.lesson import Case, CaseResult, Lesson

ROUGHER = 2.0
"""How much longer steps, or cells, are in the laps that the numerical error is measured with."""
OUTER, INNER = 0.8, 0.2
"""Ends lie beyond the first, the middle within the second share of the half length [-]."""

CaseFigures = dict[str, Array]


@dataclass(frozen=True)
class ReadyCase:
    """A case before the first stroke.

    Attributes
    ----------
    rig, gauged : part, plate and paper on the grid, and what takes the figures there
    members : faces (members, n) [m], conditions and pace of each
    middle : every number at its middle
    stage : the work; None where there is none
    """

    case: Case
    scenario: Scenario
    rig: Rig
    gauged: Gauge
    members: Members
    middle: Conditions
    stage: Stage | None
    seed: int

    @property
    def typical(self) -> int:
        """The member nearest to the middle of all."""
        return most_typical(self.members.before)


@dataclass(frozen=True)
class WorkedCase:
    """A case worked: the result, the laps behind it, and all courses (members, looks) by figure."""

    result: CaseResult
    runs: tuple[LegRun, ...]
    courses: CaseFigures
    quad_strokes: float


def ready_case(
    lesson: Lesson,
    case: Case,
    scenario: Scenario,
    faces_at: Callable[[Array], Array],
    *,
    members: int,
    seed: int,
    cells: int | None = None,
) -> ReadyCase:
    """Set a case up.

    Parameters
    ----------
    scenario : the lesson's with the changes of this case
    faces_at : heights (members, n) of the starting faces at points (n, 2) [m]
    cells : other than those of the lesson
    """
    rig, gauged = gauge.rig_and_gauge(scenario, cells=cells or lesson.cells)
    scores = draw_scores(members, seed)
    plate_scores, dyes = draw_plate_scores(members, seed), dye.draw_dyes(members, seed)
    conditions = conditions_of(scenario, scores, plate_scores, dyes)
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    strokes = lesson.strokes if case.strokes is None else case.strokes
    stage = None
    if strokes:
        every = scenario.check_every or max(1, -(-strokes // lesson.looks))
        stage = stage_of(scenario, middle, scenario.paper.grits[0], strokes, every)
    everyone = Members(faces_at(rig.grid.points), conditions, strokes_per_minute(scenario, scores))
    return ReadyCase(case, scenario, rig, gauged, everyone, middle, stage, seed)


def work_case(
    ready: ReadyCase,
    *,
    quad_strokes: float | None = None,
    some: Sequence[int] | None = None,
    executor: Executor | None = None,
    finished: Callable[[int], None] | None = None,
) -> WorkedCase:
    """Work a case with all members, or with ``some`` of them.

    Parameters
    ----------
    quad_strokes : strokes of a group of rows; None: half of what a lap of middle numbers needs

    Raises
    ------
    TippingError : if the press lies off the face for most of the work
    """
    members = ready.members if some is None else ready.members.some(np.asarray(some, dtype=np.int64))
    start = members.before[:, np.newaxis]
    if ready.stage is None:
        courses, figures = _figures(ready, members, np.array([0]), start, None, ())
        return WorkedCase(_result(ready, members, np.array([0]), start, figures), (), courses, 0.0)
    quad = quad_strokes or _quad(ready, ready.stage)
    leg = lay_leg(ready.rig, ready.stage, quad_strokes=quad, seed=ready.seed)
    runs = run_legs(
        ready.rig, ready.gauged, members, members.before, leg, executor=executor, finished=finished
    )
    tipped = float(np.mean([run.tipped for run in runs]))
    if tipped > TIP_REFUSED:
        raise TippingError(f"{ready.case.words}: {tipping_words(ready.middle, tipped)}")
    strokes = np.array([0, *runs[0].strokes])
    heights = np.concatenate([start, np.array([run.faces for run in runs])], axis=1)
    at_looks = Figures(**{name: np.array([getattr(r.figures, name) for r in runs]) for name in FIGURE_NAMES})
    courses, figures = _figures(ready, members, strokes, heights, at_looks, runs)
    return WorkedCase(_result(ready, members, strokes, heights, figures), tuple(runs), courses, quad)


def _quad(ready: ReadyCase, stage: Stage) -> float:
    """Strokes of a group of rows: half of what keeps the tolerance, as some hands ask for more than most."""
    face = ready.members.before[ready.typical]
    found = find_steps(ready.rig, face, ready.middle, stage, TAUGHT, seed=ready.seed)
    return TAUGHT.longer * found.quad_strokes


def _result(
    ready: ReadyCase, members: Members, strokes: Array, heights: Array, figures: CaseFigures
) -> CaseResult:
    """The record of a case; ``heights`` (members, looks, n) [m]."""
    grid = ready.rig.grid
    typical = most_typical(heights[:, 0])
    before, after = heights[typical, 0], heights[typical, -1]
    gone, faded = _dyes(ready, (before - after)[: grid.n_cells], members.conditions[typical].dye)
    return CaseResult(
        case=ready.case,
        figures=figures,
        strokes=strokes,
        course=None,
        grid=grid,
        before=before,
        after=after,
        dye=dye.tone(gone, faded),
    )


def showing(ready: ReadyCase, worked: WorkedCase, member: int) -> CaseResult:
    """The record of a case that all members have worked, its maps those of one of them."""
    before = ready.members.before[member]
    after = worked.runs[member].face if worked.runs else before
    removed = (before - after)[: ready.rig.grid.n_cells]
    gone, faded = _dyes(ready, removed, ready.members.conditions[member].dye)
    return replace(worked.result, before=before, after=after, dye=dye.tone(gone, faded))


def _dyes(ready: ReadyCase, removed: Array, draw: dye.DyeDraw) -> tuple[Array, Array]:
    """Where the dye put on before the first stroke is gone, and fading or gone: maps (…, cells) of 0 and 1.

    ``removed``: since then (…, cells) [m].
    """
    grit = ready.scenario.paper.grits[0] if ready.stage is None else ready.stage.grit
    rough = dye.roughness_dyed(grit, ready.scenario.part.metal, worked=False)
    gone, faded = draw.gone_at(rough), draw.faded_at(rough)
    return dye.beyond(removed, gone).astype(float), dye.beyond(removed, faded).astype(float)


def _figures(
    ready: ReadyCase,
    members: Members,
    strokes: Array,
    heights: Array,
    at_looks: Figures | None,
    runs: Sequence[LegRun],
) -> tuple[CaseFigures, CaseFigures]:
    """Courses (members, looks) and figures at the end (members,), by name [SI].

    ``heights``: (members, looks, n), before the first stroke first [m]; ``at_looks``: figures
    at the looks after it, where there are any.
    """
    gauged, start = ready.gauged, heights[:, 0]
    zero = np.zeros(members.count)
    flat, gap = gauge.flatness(gauged, start), gauge.straightedge(gauged, start)
    whole = Figures(flat, gap, zero, zero, zero, zero)

    def course(name: str) -> Array:
        first = getattr(whole, name)[:, np.newaxis]
        return first if at_looks is None else np.hstack([first, getattr(at_looks, name)])

    courses: CaseFigures = {
        "flatness": course("flatness"),
        "straightedge": course("straightedge"),
        "mean_depth": course("mean_depth"),
        "deepest": course("greatest_depth"),
        "taper_along": course("taper_along"),
        "taper_across": course("taper_across"),
    }
    courses["slant"] = np.maximum(np.abs(courses["taper_along"]), np.abs(courses["taper_across"]))
    courses |= _shapes(ready, heights) | _removal(ready, members, heights) | _edges(gauged, heights)
    courses["push"] = _push(ready, members, runs)
    part = ready.scenario.part
    courses["mass"] = part.metal.density * part.outline.area * courses["mean_depth"]
    measured = measure(Figures(**{n: course(n) for n in FIGURE_NAMES}), ready.scenario.part.limit_by)
    found = {name: values[:, -1] for name, values in courses.items()}
    found |= _milestones(ready, members, strokes, courses, measured)
    found["flatness_start"], found["straightedge_start"] = flat, gap
    found["push_start"] = courses["push"][:, 0]
    found["least_cut_start"] = depth_to_clear(ready.rig.grid, start)
    found["least_cut"] = depth_to_clear(ready.rig.grid, heights[:, -1])
    return courses, found | _springs(ready, heights[:, -1], runs)


def _each_look(heights: Array, figure: Callable[[Array], Array]) -> Array:
    """A figure of faces (count, n) → (count,), at all looks of all members (members, looks)."""
    members, looks, points = heights.shape
    return figure(heights.reshape(members * looks, points)).reshape(members, looks)


def _shapes(ready: ReadyCase, heights: Array) -> CaseFigures:
    members, looks, points = heights.shape
    bends = bend_components(ready.rig.grid, heights.reshape(members * looks, points))
    names = ("bow_along", "bow_across", "twist")
    return {name: bend.reshape(members, looks) for name, bend in zip(names, bends, strict=True)}


def _removal(ready: ReadyCase, members: Members, heights: Array) -> CaseFigures:
    """Where it came off, and the dye that was put on before the first stroke."""
    grid = ready.rig.grid
    area = grid.area[: grid.n_cells]
    at = np.abs(2.0 * grid.u[: grid.n_cells] / ready.gauged.length)
    removed = heights[:, :1, : grid.n_cells] - heights[:, :, : grid.n_cells]
    ends, middle = area * (at > OUTER), area * (at < INNER)
    states = [_dyes(ready, off, c.dye) for off, c in zip(removed, members.conditions, strict=True)]
    gone, faded = (np.array([dye.share_of(state[k], area) for state in states]) for k in (0, 1))
    found = {
        "ends_removed": removed @ ends / max(ends.sum(), 1e-30),
        "middle_removed": removed @ middle / max(middle.sum(), 1e-30),
        "dye_left": 1.0 - gone,
        "dye_faded": faded,
    }
    return found | {"ends_over_middle": found["ends_removed"] - found["middle_removed"]}


def _push(ready: ReadyCase, members: Members, runs: Sequence[LegRun]) -> Array:
    """Force to push the part (members, looks) [N], on the paper as it is at each look; fresh at the first."""
    load = np.array([load_of(ready.scenario, c) for c in members.conditions])
    fresh = np.array([[c.friction] for c in members.conditions])
    friction = np.hstack([fresh, np.array([run.friction for run in runs])]) if runs else fresh
    found: Array = friction * load[:, np.newaxis]
    return found


def _edges(gauged: Gauge, heights: Array) -> CaseFigures:
    """What a straightedge reads as its worst if it is held in this or that way on every line."""
    on_lines = heights[:, :, gauged.grid.part(gauge.LINES)]

    def worst(*ways: str) -> Array:
        gaps = [_each_look(on_lines, partial(_worst_gap, gauged.lines, way)) for way in ways]
        found: Array = np.max(gaps, axis=0)
        return found

    return {"edge_level": worst("level"), "edge_tipped": worst("tipped start", "tipped end")}


def _worst_gap(lines: LineSet, way: str, on_lines: Array) -> Array:
    found: Array = line_gaps(lines, on_lines, [way] * len(lines.lines)).max(axis=1)
    return found


def _milestones(
    ready: ReadyCase, members: Members, strokes: Array, courses: CaseFigures, measured: Array
) -> CaseFigures:
    """Best point, limit, effort and mass (members,) from courses (members, looks)."""
    part, flat = ready.scenario.part, courses["flatness"]
    best = np.argmin(flat, axis=1)
    row = np.arange(members.count)
    limit = _crossing(measured, part.limit)
    done = float(strokes[-1])
    depth = courses["mean_depth"]
    to_limit = _at_look(np.broadcast_to(strokes.astype(float), flat.shape), limit)
    return {
        "best_flatness": flat[row, best],
        "best_strokes": strokes[best].astype(float),
        "past_best": flat[:, -1] - flat[row, best],
        "strokes": np.full(members.count, done),
        "strokes_to_limit": to_limit,
        "depth_to_limit": _at_look(depth, limit),
        "first_cut": depth[:, min(1, depth.shape[1] - 1)],
        "last_cut": depth[:, -1] - depth[:, max(0, depth.shape[1] - 2)],
        "minutes": done / members.pace,
        "minutes_to_limit": to_limit / members.pace,
    }


def _crossing(measured: Array, limit: float) -> Array:
    """At which look (members,) a figure (members, looks) comes down to a limit, between looks in
    proportion; infinite if never.

    >>> _crossing(np.array([[4.0, 2.0], [4.0, 3.0], [1.0, 2.0]]), 2.5).tolist()
    [0.75, inf, 0.0]
    """
    under = measured <= limit
    at = np.argmax(under, axis=1)
    row = np.arange(len(measured))
    before, after = measured[row, np.maximum(at - 1, 0)], measured[row, at]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(at > 0, (before - limit) / (before - after), 1.0)
    return np.where(under.any(axis=1), np.where(at > 0, at - 1.0 + share, 0.0), np.inf)


def _at_look(course: Array, look: Array) -> Array:
    """A course (members, looks) at looks (members,) that need not be whole; infinite at infinity."""
    last = course.shape[1] - 1
    whole = np.clip(np.where(np.isfinite(look), np.floor(look), 0.0), 0, max(last - 1, 0)).astype(int)
    row = np.arange(len(course))
    after = np.minimum(whole + 1, last)
    share = np.where(np.isfinite(look), look - whole, 0.0)
    value = course[row, whole] + share * (course[row, after] - course[row, whole])
    return np.where(np.isfinite(look), value, np.inf)


def _springs(ready: ReadyCase, heights: Array, runs: Sequence[LegRun]) -> CaseFigures:
    """What a thin part does under the hands at the end, and what a rigid one does not."""
    bending, grid = ready.rig.bending, ready.rig.grid
    if bending is None or not runs:
        flat = gauge.flatness(ready.gauged, heights)
        return {"springs_back": np.zeros_like(flat), "flatness_pressed": flat}
    rim = grid.marks["rim"][1]
    found = spring_figures(
        grid.u[:rim],
        grid.v[:rim],
        heights[:, :rim],
        np.array([run.flexed for run in runs]),
        bending.shapes_at(grid.points[:rim]),
    )
    return {"springs_back": found.comes_back, "flatness_pressed": found.pressed}
