"""Jobs built in code, everything in them fixed and exact, and laps of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from inspect import signature
from typing import Any, cast

import numpy as np

from handlap.sim.common.outline import Array, Outline
from handlap.sim.job.scenario import (
    Exact,
    Hands,
    HeightTable,
    Paper,
    Part,
    Pattern,
    Plate,
    Readings,
    Scenario,
    Strip,
    Strokes,
    Turning,
    TurnState,
    Uncertain,
    Wear,
)
from handlap.sim.lapping import kernels
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.lap import Bench, Conditions, LapRun, Stage, run_stage, set_up, stage_layout
from handlap.sim.lapping.poses import Layout
from handlap.sim.materials import grits, metals
from handlap.sim.materials.grits import Grit

UM = 1e-6
P80 = grits.find("P80")
A356 = metals.find("A356")
STAY = ((0.0, 0.0),)
HALF_TURNS = ((0.0, 0.0), (np.pi, 0.0))
QUARTER_TURNS = tuple((i * np.pi / 2, 0.0) for i in range(4))
WALK_ROUND = ((0.0, 0.0), (0.0, np.pi))

POSE_COLUMNS = getattr(kernels, "POSE_COLUMNS", 10)

Face = Callable[[Array, Array], Array]
Pair = tuple[float, float]


def job(
    outline: Outline | None = None,
    *,
    length: float = 0.24,
    width: float = 0.14,
    rate: float = 0.045e-9,
    bedding: float = 24e-6,
    press: float = 100.0,
    weight: float = 0.0,
    weight_at: Pair = (0.0, 0.0),
    reach: float = 0.0,
    bias: Pair = (0.0, 0.0),
    wobble: Pair = (0.0, 0.0),
    push_over_pull: float = 1.0,
    pattern: Pattern = "straight",
    travel: float = 0.18,
    direction: float = 0.0,
    states: Sequence[Pair] = STAY,
    turn_every: int | None = 0,
    plate: Pair = (2.0, 2.0),
    strips: Sequence[tuple[float, float, float, float]] | None = None,
    ages: bool = False,
    ageing: float = 1.0,
    brush_every: int | None = 0,
    sheet_every: int | None = 0,
    papers: Sequence[Grit] = (P80,),
    load: float | None = None,
    load_at: Pair | None = None,
    tilt_held: bool = False,
    face: Face | None = None,
    limit: float = 50e-6,
    allowance: float | None = None,
    check_every: int | None = None,
    cell: float | None = None,
) -> Scenario:
    """A job in which every number is known [m, N, rad, m²/N].

    Parameters
    ----------
    bedding : λ itself, the same on every paper
    reach : µ·(height of the hands); friction is 1, so it is the height
    states : turns of (part, operator) gone through
    face : the measured face, as an exact table on a 9 × 9 raster (None: no readings)
    cell : side of the cells wherever nobody asks for another (None: as fine as usual)
    """
    fixed = Uncertain.fixed
    outline = outline or Outline.rectangular(length, width)
    readings = Readings()
    if face is not None:
        u, v = np.meshgrid(
            np.linspace(-outline.length / 2, outline.length / 2, 9),
            np.linspace(-outline.width / 2, outline.width / 2, 9),
        )
        at_u, at_v = u.ravel(), v.ravel()
        readings = Readings(table=HeightTable(at_u, at_v, face(at_u, at_v), 0.0, "a formula"))
    return Scenario(
        name="job",
        title="a job of the tests",
        source="tests",
        invented=True,
        part=Part("part", outline, A356, weight, weight_at, limit, "zone", allowance),
        readings=readings,
        plate=Plate(*plate),
        paper=Paper(
            grits=tuple(papers),
            wet=False,
            strips=None if strips is None else tuple(Strip(*s) for s in strips),
            brush_every=brush_every,
            sheet_every=sheet_every,
        ),
        hands=Hands(
            press=fixed(press),
            height=fixed(reach),
            bias_along=fixed(bias[0]),
            bias_across=fixed(bias[1]),
            wobble_along=fixed(wobble[0]),
            wobble_across=fixed(wobble[1]),
            push_over_pull=fixed(push_over_pull),
            strokes_per_minute=fixed(40.0),
        ),
        strokes=Strokes(pattern, travel, direction),
        turning=Turning("of the tests", tuple(TurnState(*s) for s in states), turn_every),
        wear=Wear(
            rate=fixed(rate),
            bedding=fixed(0.12),
            friction=fixed(1.0),
            ageing=fixed(ageing),
            ages=ages,
            bedding_length=bedding,
        ),
        exact=Exact(load=load, load_at=load_at, tilt_held=tilt_held, cell=cell),
        check_every=check_every,
    )


def middle(scenario: Scenario) -> Conditions:
    """The conditions of a job without spread."""
    return conditions_at(scenario, np.zeros(len(SCORES)))


@dataclass(frozen=True)
class Lapped:
    """A lap and what it was made of; heights (n,) on the bench's grid [m]."""

    bench: Bench
    layout: Layout
    before: Array
    run: LapRun

    @property
    def after(self) -> Array:
        return self.run.heights[-1]

    @property
    def removed(self) -> Array:
        return self.before - self.after

    @property
    def cells(self) -> Array:
        """Heights of the cells alone, after the lap."""
        return self.after[: self.bench.grid.n_cells]


def lap(
    scenario: Scenario,
    face: Face | None,
    strokes: int,
    *,
    rows: int = 64,
    cell: float | None = None,
    cells: int = 1000,
    follow: dict[str, Array] | None = None,
    snapshots: tuple[int, ...] = (),
    seed: int = 0,
) -> Lapped:
    """Lap a face, flat unless given, in about this many rows."""
    bench = set_up(scenario, cell=cell, cells=cells, follow=follow)
    grid = bench.grid
    before = np.zeros(grid.u.size) if face is None else face(grid.u, grid.v)
    stage = Stage(
        grit=scenario.paper.grits[0],
        strokes=strokes,
        turn_every=scenario.turning.every or 0,
        brush_every=scenario.paper.brush_every or 0,
        sheet_every=scenario.paper.sheet_every or 0,
        snapshots=snapshots,
    )
    layout = stage_layout(bench, stage, quad_strokes=4.0 * strokes / rows, seed=seed)
    return Lapped(bench, layout, before, run_stage(bench, before, middle(scenario), stage, layout))


@dataclass(frozen=True)
class Marched:
    """What :func:`march` left behind."""

    status: int
    heights: Array
    snapshots: Array
    diagnostics: Array
    load: Array
    dull: Array
    paper_step: float


def pose_table(
    count: int, slide: float, load: float, at: Any = (0.0, 0.0), *, half: float, x: Any = 0.0, y: Any = 0.0,
    turn: Any = 0.0,
) -> Array:  # fmt: skip
    """Poses (count, columns) of equal sliding distance [m]; ``at`` (2,) or (count, 2) [m]."""
    table = np.zeros((count, POSE_COLUMNS))
    at = np.broadcast_to(np.asarray(at, dtype=float), (count, 2)) / half
    table[:, kernels.X], table[:, kernels.Y] = x, y
    table[:, kernels.COS], table[:, kernels.SIN] = np.cos(turn), np.sin(turn)
    table[:, kernels.LOAD] = load
    table[:, [kernels.EU, kernels.EV]] = at
    table[:, [kernels.EU_STEADY, kernels.EV_STEADY]] = at
    table[:, kernels.SLIDE] = slide
    return table


def march(
    bench: Bench,
    heights: Array,
    table: Array,
    *,
    rate: float = 0.045e-9,
    bedding: float = 24e-6,
    scale: Array | None = None,
    tilt_free: bool = True,
    every: int | None = None,
    aged: bool = False,
    paper: tuple[float, float, float, float] = (0.3, 0.6, 10e-6, 50e-6),
    kinds: Array | None = None,
    noted_flat: bool = False,
) -> Marched:
    """Call the compiled march on poses written out by hand.

    ``every``: rows between snapshots (None: only the last); ``paper``: floors and scales of
    loading and dulling; ``noted_flat``: the plate's heights are given, and are nought.
    """
    grid = bench.grid
    h = np.array(heights, dtype=float)
    rows = len(table)
    events = np.zeros(rows, dtype=np.int64)
    events[(every or rows) - 1 :: (every or rows)] |= kernels.EVENT_SNAPSHOT
    snapshots = np.empty((int(np.count_nonzero(events)), h.size))
    step = 2.0 * grid.cell_size
    x0, y0 = bench.strips[:, :2].min(axis=0)
    x1, y1 = bench.strips[:, 2:].max(axis=0)
    shape = (int(np.ceil((y1 - y0) / step)) + 1, int(np.ceil((x1 - x0) / step)) + 1)
    raster = np.array([x0, y0, step, *paper])
    load, dull = np.zeros(shape), np.zeros(shape)
    constants = np.array(
        [rate, bedding, bench.half, grid.cell_size, max(50e-6, 3.0 * bedding), float(grid.area.sum()), 0.0]
    )
    diagnostics = np.zeros(kernels.DIAGNOSTICS)
    given: dict[str, Any] = {
        "h": h,
        "u": grid.u / bench.half,
        "v": grid.v / bench.half,
        "area": grid.area,
        "n_cells": grid.n_cells,
        "scale": np.ones(h.size) if scale is None else scale,
        "poses": np.array(table),
        "kinds": np.zeros(rows, dtype=np.int64) if kinds is None else kinds,
        "events": events,
        "constants": constants,
        "tilt_free": tilt_free,
        "strips": bench.strips,
        "hull": bench.hull_normals,
        "aged": aged,
        "paper": raster,
        "load": load,
        "dull": dull,
        # A flat plate under a rigid part.
        "ground_frame": np.array([0.0, 0.0, 1.0]),
        "ground": np.zeros((2, 2) if noted_flat else (1, 1)),
        "basis": np.empty((0, h.size)),
        "bending": np.empty((0, 0)),
        "bend_press": np.empty(0),
        "bend_weight": np.empty(0),
        "amplitudes": np.empty((len(snapshots), 0)),
        "snapshots": snapshots,
        "work": np.empty((kernels.WORK_ROWS, h.size)),
        "diagnostics": diagnostics,
    }
    status = kernels.march(*(given[name] for name in signature(cast(Any, kernels.march).py_func).parameters))
    return Marched(status, h, snapshots, diagnostics, load, dull, step)


def hollow(c: float, half: float) -> Face:
    """Parabola along u, ``c`` deep over a half length [m]."""
    return lambda u, v: c * (u / half) ** 2 + 0.0 * v


def crown(c: float, half: float) -> Face:
    """The same upside down."""
    return lambda u, v: -c * (u / half) ** 2 + 0.0 * v


def twist(c: float, half_u: float, half_v: float) -> Face:
    """Two opposite corners up by c/2, the others down: minimum zone c."""
    return lambda u, v: 0.5 * c * (u / half_u) * (v / half_v)
