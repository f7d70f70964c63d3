"""Jobs built in code, everything in them fixed and exact, and laps of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

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
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.lap import LapRun, run_stage, stage_layout
from handlap.sim.lapping.paper_memory import CLOSE, Nodes
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.set_up import Rig, set_up
from handlap.sim.materials import grits, metals
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.paper_law import rate_factor

UM = 1e-6
P80 = grits.find("P80")
A356 = metals.find("A356")
STAY = ((0.0, 0.0),)
HALF_TURNS = ((0.0, 0.0), (np.pi, 0.0))
QUARTER_TURNS = tuple((i * np.pi / 2, 0.0) for i in range(4))
WALK_ROUND = ((0.0, 0.0), (0.0, np.pi))

CONCAVE = ("L", "U", "T", "C", "crescent")
"""Faces with a notch, see :func:`concave`."""
Face = Callable[[Array, Array], Array]
Pair = tuple[float, float]


def job(
    outline: Outline | None = None,
    *,
    length: float = 0.24,
    width: float = 0.14,
    rate: float = 0.045e-9,
    bedding: float | None = 24e-6,
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
    sway: float = 5e-3,
    states: Sequence[Pair] = STAY,
    turn_every: int | None = 0,
    plate: Pair = (2.0, 2.0),
    strips: Sequence[tuple[float, float, float, float]] | None = None,
    ages: bool = False,
    ageing: float = 1.0,
    floors: Pair = (0.3, 0.2),
    brushing: float = 0.6,
    blunt_bedding: float = 1.0,
    friction_gain: float = 0.0,
    edge_rate: float = 0.0,
    edge_rise: float = 0.0,
    wet: bool = False,
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
    rate : of the first of the papers, fresh
    bedding : λ itself, the same on every paper and for ever; with ``blunt_bedding`` under 1 that of the first
        paper when fresh; None: 0.12 of the grain
    reach : µ·(height of the hands); friction is 1, so it is the height
    floors, brushing : of clogged and of blunt P120; share of its clogging that brushing takes out
    blunt_bedding, friction_gain, edge_rate, edge_rise : each of which leaves the plain law alone unless
        given
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
            wet=wet,
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
        strokes=Strokes(pattern, travel, direction, fixed(sway)),
        turning=Turning("of the tests", tuple(TurnState(*s) for s in states), turn_every),
        wear=Wear(
            rate=fixed(rate / rate_factor(papers[0])),
            bedding=fixed(0.12 if bedding is None else bedding / papers[0].diameter),
            friction=fixed(1.0),
            ageing=fixed(ageing),
            loading_floor=fixed(floors[0]),
            dulling_floor=fixed(floors[1]),
            brushing=fixed(brushing),
            blunt_bedding=fixed(blunt_bedding),
            friction_gain=fixed(friction_gain),
            edge_rate=fixed(edge_rate),
            edge_rise=fixed(edge_rise),
            ages=ages,
            bedding_length=bedding if blunt_bedding == 1.0 else None,
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

    rig: Rig
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
        return self.after[: self.rig.grid.n_cells]


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
    shift: Pair = (0.0, 0.0),
    nodes: Nodes = CLOSE,
) -> Lapped:
    """Lap a face, flat unless given, in about so many rows; ``shift`` moves the paper's nodes by so many,
    ``nodes`` says how far apart they are.
    """
    rig = set_up(scenario, cell=cell, cells=cells, follow=follow, nodes=nodes)
    grid = rig.grid
    before = np.zeros(grid.u.size) if face is None else face(grid.u, grid.v)
    stage = Stage(
        grit=scenario.paper.grits[0],
        strokes=strokes,
        turn_every=scenario.turning.every or 0,
        brush_every=scenario.paper.brush_every or 0,
        sheet_every=scenario.paper.sheet_every or 0,
        snapshots=snapshots,
    )
    layout = stage_layout(rig, stage, quad_strokes=4.0 * strokes / rows, seed=seed)
    run = run_stage(rig, before, middle(scenario), stage, layout, paper_shift=shift)
    return Lapped(rig, layout, before, run)


def hollow(c: float, half: float) -> Face:
    """Parabola along u, ``c`` deep over a half length [m]."""
    return lambda u, v: c * (u / half) ** 2 + 0.0 * v


def crown(c: float, half: float) -> Face:
    """The same upside down."""
    return lambda u, v: -c * (u / half) ** 2 + 0.0 * v


def twist(c: float, half_u: float, half_v: float) -> Face:
    """Two opposite corners up by c/2, the others down: minimum zone c."""
    return lambda u, v: 0.5 * c * (u / half_u) * (v / half_v)


def concave(kind: str, length: float, width: float) -> Outline:
    """A face with a notch that fills its bounding box about the origin; arms are a fifth of the width."""
    a, b, arm = length / 2, width / 2, 0.2 * width
    if kind == "L":
        return Outline(np.array([(-a, -b), (a, -b), (a, arm - b), (arm - a, arm - b), (arm - a, b), (-a, b)]))
    if kind == "U":
        notch = [(a - arm, b), (a - arm, arm - b), (arm - a, arm - b), (arm - a, b)]
        return Outline(np.array([(-a, -b), (a, -b), (a, b), *notch, (-a, b)]))
    if kind == "T":
        stem = [(0.2 * a + arm, arm - b), (0.2 * a + arm, b), (0.2 * a, b), (0.2 * a, arm - b)]
        return Outline(np.array([(-a, -b), (a, -b), (a, arm - b), *stem, (-a, arm - b)]))
    # Open to the right: a ring less a sector, or a disc less a smaller one.
    open_by, inner = (0.6, 0.75) if kind == "C" else (1.1, 0.6)
    round_ = np.linspace(open_by, 2.0 * np.pi - open_by, 33)
    outside = np.column_stack([np.cos(round_), np.sin(round_)])
    inside = inner * outside[::-1]
    if kind == "crescent":
        inside = np.column_stack([inner * (outside[::-1, 0] - np.cos(open_by)), outside[::-1, 1]])[1:-1]
        inside[:, 0] += np.cos(open_by)
    corners = np.vstack([outside, inside])
    low, high = corners.min(axis=0), corners.max(axis=0)
    return Outline((corners - 0.5 * (low + high)) * [length, width] / (high - low))
