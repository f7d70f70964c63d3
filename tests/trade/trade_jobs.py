"""Invented jobs for the facts of the trade, and an ensemble of laps of them.

Soles and heads of plain size, their faces in closed form with a little of other shapes on top; what no
fact states (press, height of hands, pace, sway, …) is left to the program's defaults and their spreads,
for those are what is held against the trade.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.face.straightedge import gaps
from handlap.sim.job.scenario import HeightTable, Readings, Scenario
from handlap.sim.job.scenario_file import load_document
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ensemble import (
    SCORES,
    conditions_at,
    draw_scores,
    most_typical,
    run_members,
    strokes_per_minute,
)
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.set_up import set_up

UM, MM = 1e-6, 1e-3
CELLS = 2000
TOLERANCE = 1e-6
"""Step error asked of the laps [m]: well under what the trade can feel."""
MOST_ROWS = 1200
TURNED = 25
"""Strokes between turns of the part."""
OTHER_SHAPES = 3e-6
"""Deviation of every other shape of a face that a fact calls hollow, crowned or flat [m]."""
TABLE_SD = 3e-6
"""Deviation of one height of a face that is planned from a table [m]."""

Face = Callable[[Array, Array], Array]


def scenario(part: dict[str, Any], **tables: dict[str, Any]) -> Scenario:
    """A job from the tables of a scenario file; its face comes apart from it."""
    given = {"title": "a fact of the trade", "invented": True, "units": "mm", "part": part, **tables}
    return load_document(given, require_readings=False)


def sole(
    length: float, width: float, mass: float, *grits: str, limit: float = 40.0, **paper: Any
) -> Scenario:
    """A plane's iron sole [mm, kg], dry, to be flat within a limit [µm]."""
    part = {"length": length, "width": width, "metal": "grey iron", "mass": mass, "limit": limit}
    return scenario(part, paper={"grits": list(grits), **paper})


def small_head(grits: Sequence[str], *, wet: bool, limit: float) -> Scenario:
    """A two-cylinder head, 240 × 140 mm, straight along."""
    part = {
        "length": 240, "width": 140, "metal": "A356", "mass": 3.4, "limit": limit,
        "openings": [{"circle": [-42, 0, 72]}, {"circle": [42, 0, 72]}],
    }  # fmt: skip
    return scenario(part, paper={"grits": list(grits), "wet": wet})


def long_head(grits: Sequence[str], **paper: Any) -> Scenario:
    """A four-cylinder head, 440 × 150 mm less four bores of 80 mm: 459 cm² of metal."""
    part = {
        "length": 440, "width": 150, "metal": "A356", "mass": 9.0, "limit": 50,
        "openings": [{"circle": [at, 0, 80]} for at in (-165, -55, 55, 165)],
    }  # fmt: skip
    return scenario(part, paper={"grits": list(grits), **paper})


# ---- faces [m], over the half sides of the part they belong to


def bow(depth: float, half: float) -> Face:
    """Hollow along u by ``depth`` between ends and middle; below nought: crowned."""
    return lambda u, v: depth * ((u / half) ** 2 + 0.0 * v)


def bowl(depth: float, half_u: float, half_v: float) -> Face:
    """Hollow by ``depth`` between corners and middle, two thirds of it along."""
    return lambda u, v: depth * (2.0 * (u / half_u) ** 2 + (v / half_v) ** 2) / 3.0


def twisted(zone: float, half_u: float, half_v: float) -> Face:
    """Two opposite corners low by half of ``zone``, the others high."""
    return lambda u, v: 0.5 * zone * (u / half_u) * (v / half_v)


def flat(u: Array, v: Array) -> Array:
    """Nothing but the little of other shapes."""
    return 0.0 * (u + v)


def faces(face: Face, job: Scenario, u: Array, v: Array, members: int, seed: int) -> Array:
    """The face and, in every member (members, n), its own little bow, cross bow, twist and slant bow [m]."""
    outline = job.part.outline
    s, t = 2.0 * u / outline.length, 2.0 * v / outline.width
    shapes = np.array([s**2, t**2, s * t, s**3 - s, s**2 * t])
    size = OTHER_SHAPES * np.random.default_rng([seed, 10]).standard_normal((members, len(shapes)))
    return face(u, v) + size @ shapes


# ---- laps


@dataclass(frozen=True)
class Laps:
    """What an ensemble of laps left at the places asked for.

    Attributes
    ----------
    before : heights of every member (members, places) [m]
    after : the same at each look (members, looks, places) [m]
    depth : mean depth off the face (members, looks) [m]
    strokes : done at each look (members, looks) [-]
    minutes : the same at each member's pace, strokes alone (members, looks) [min]
    """

    before: Array
    after: Array
    depth: Array
    strokes: NDArray[np.int64]
    minutes: Array

    @property
    def lost(self) -> Array:
        """Depth off at the places (members, looks, places) [m]."""
        return self.before[:, None, :] - self.after


StageOf = Callable[[float], Stage]
"""The stage of a member from its pace in strokes a minute."""


def by_the_clock(
    job: Scenario, minutes: Sequence[float], *, sheet: float = 0.0, brush: float = 0.0
) -> StageOf:
    """A stage looked at after so many minutes, with a fresh sheet and a brushing every so many (0: never)."""

    def stage(pace: float) -> Stage:
        looks = tuple(sorted({max(1, round(at * pace)) for at in minutes}))
        return _stage(job, looks, round(sheet * pace), round(brush * pace))

    return stage


def by_strokes(job: Scenario, looks: Sequence[int]) -> StageOf:
    """A stage on one sheet looked at after so many strokes."""
    return lambda pace: _stage(job, tuple(looks), 0, 0)


def _stage(job: Scenario, looks: tuple[int, ...], sheet: int, brush: int) -> Stage:
    """The part is turned end for end every so many strokes, as one would without counting."""
    return Stage(job.paper.grits[0], looks[-1], TURNED, brush, sheet, looks)


def lap_all(job: Scenario, face: Face, places: Array, stage_of: StageOf, *, members: int, seed: int) -> Laps:
    """Every member of an ensemble of faces, hands and papers through its stage.

    Parameters
    ----------
    places : points of the face to follow (k, 2) [m]
    stage_of : as many looks for every pace
    """
    rig = set_up(job, cells=CELLS, follow={"places": places})
    scores = draw_scores(members, seed)
    start = faces(face, job, rig.grid.u, rig.grid.v, members, seed)
    middle = conditions_at(job, np.zeros(len(SCORES)))
    quad = choose_resolution(
        rig, start[most_typical(start)], middle, stage_of(job.hands.strokes_per_minute.value),
        tolerance=TOLERANCE, seed=seed, most_rows=MOST_ROWS // 2,
    ).quad_strokes  # fmt: skip
    at = rig.grid.part("places")
    weights = rig.grid.area / rig.grid.area.sum()

    def one(member: tuple[Array, Conditions, float]) -> tuple[Array, Array, tuple[int, ...]]:
        heights, conditions, pace = member
        stage = stage_of(pace)
        layout = stage_layout(rig, stage, quad_strokes=quad, seed=seed)
        run = run_stage(rig, heights, conditions, stage, layout)
        return run.heights[:, at], (heights - run.heights) @ weights, run.strokes

    paces = strokes_per_minute(job, scores)
    numbers = [conditions_at(job, z) for z in scores]
    done = run_members(one, list(zip(start, numbers, paces, strict=True)))
    strokes = np.array([looks for _, _, looks in done])
    return Laps(
        before=start[:, at],
        after=np.array([heights for heights, _, _ in done]),
        depth=np.array([depth for _, depth, _ in done]),
        strokes=strokes,
        minutes=strokes / paces[:, None],
    )


def line_along(at: Array, v: float = 0.0) -> Array:
    """Places (k, 2) along the part at ``at`` (k,), beside its middle line by ``v`` [m]."""
    return np.column_stack([at, np.full_like(at, v)])


# ---- what a straightedge and leaves would tell of a line of places


def gap_along(at: Array, heights: Array) -> Array:
    """Greatest gap (…) under a straightedge that rests on a line of heights (…, k) at ``at`` (k,) [m]."""
    return _each(lambda z: float(np.max(gaps(at, z, "rest"))), heights)


def ends_low(at: Array, heights: Array) -> Array:
    """How low (…) the ends of a line of heights (…, k) are under a straightedge held level on it [m]."""
    return _each(lambda z: float(np.mean(gaps(at, z, "level")[[0, -1]])), heights)


def end_below_middle(at: Array, heights: Array, place: int) -> Array:
    """How far (…) a place near one end, the worse, lies under the middle half of the line carried on [m].

    ``place``: its index, counted from either end.
    """
    inner = np.abs(at) <= 0.25 * np.ptp(at)

    def worse(z: Array) -> float:
        slope, level = np.polyfit(at[inner], z[inner], 1)
        below = level + slope * at - z
        return float(max(below[place], below[-1 - place]))

    return _each(worse, heights)


def _each(measure: Callable[[Array], float], heights: Array) -> Array:
    flat_rows = heights.reshape(-1, heights.shape[-1])
    return np.array([measure(z) for z in flat_rows]).reshape(heights.shape[:-1])


def reached(minutes: Array, left: Array, goal: float) -> Array:
    """Minutes (members,) after which what is left first comes down to the goal [m]; infinite: never.

    Parameters
    ----------
    minutes : at each look (members, looks) [min]
    left : before all, and at each look (members, 1 + looks) [m]
    """
    found = np.full(len(left), np.inf)
    times = np.hstack([np.zeros((len(left), 1)), minutes])
    for k, (at, gap) in enumerate(zip(times, left, strict=True)):
        under = np.flatnonzero(gap <= goal)
        if under.size:
            i = max(int(under[0]), 1)
            found[k] = np.interp(goal, gap[[i, i - 1]], at[[i, i - 1]])
    return found


# ---- jobs to plan


def measured(job: Scenario, face: Face) -> Scenario:
    """The job with its face measured by a table of heights, 9 × 7 points up to the rim."""
    outline = job.part.outline
    u, v = np.meshgrid(np.linspace(-0.5, 0.5, 9) * outline.length, np.linspace(-0.5, 0.5, 7) * outline.width)
    at_u, at_v = u.ravel(), v.ravel()
    table = HeightTable(at_u, at_v, face(at_u, at_v), TABLE_SD, "a formula")
    return replace(job, readings=Readings(table=table))
