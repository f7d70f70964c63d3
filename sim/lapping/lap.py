"""One lap: a face carried through strokes on one paper after another.

The large step of :mod:`handlap.sim.lapping.march_kernels` does the work; this module puts a part, a plate,
paper and one set of numbers (:class:`Conditions`) together for it, and keeps account.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError, SolverError, TippingError
from handlap.sim.common.grid import Grid, make_grid
from handlap.sim.common.outline import Array, Outline, inside_polygon
from handlap.sim.job.paper_area import overlap
from handlap.sim.job.scenario import Scenario, Strip, TurnState
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.lapping import column_kernels, pose_kernels, poses
from handlap.sim.lapping.bending import Bending, make_bending
from handlap.sim.lapping.dye import MIDDLE_DYE, DyeDraw
from handlap.sim.lapping.ground import ground_of, is_flat
from handlap.sim.lapping.march_kernels import WORK_ROWS, march
from handlap.sim.lapping.paper_memory import PaperMemory, lay_memory
from handlap.sim.lapping.poses import START, Grip, Layout, Place
from handlap.sim.lapping.record_kernels import (
    Carried,
    Face,
    Flexing,
    Ground,
    Hull,
    Notes,
    Paper,
    Rates,
    Rows,
    copy_of,
    nothing_carried,
)
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.paper_law import EDGE_RISE_LENGTH, MIDDLE, PaperLaw, PaperTraits, paper_law

MOTION_CAP = 50e-6
"""Furthest the solver may move any spot of the face in one iteration [m]."""
FINEST_CAP = 3.0
"""… but no less than this many bedding lengths."""

LEAST_INSIDE = 0.25
"""Resultants stay so many cells inside the hull of the cells' middles."""
HEADINGS = 32
"""Directions of motion, all round, for which the way to the leading edge is known."""
MOST_NODES = 200_000
"""Nodes of the raster of plate and paper: with more their spacing grows beyond that of the cells [-]."""
MARGIN = 2.0
"""… and it reaches so many of them further than the part."""
BENDING_SHAPES = 12
"""Softest shapes in which a thin part may bend: within 0.2 µm of four times as many (200 × 100 × 6 mm
aluminium bowed by 100 µm, pressed in the middle)."""


@dataclass(frozen=True)
class Conditions:
    """All numbers of one member of an ensemble.

    ``rate`` is that of fresh P120 [m²/N], ``bedding`` λ/d of fresh paper [-], or ``bedding_length`` λ
    itself, which then does not fall [m]; ``ageing`` multiplies the loading and dulling scales [-];
    ``sway`` is the deviation of strokes beside their line [m].
    """

    rate: float
    bedding: float
    friction: float
    ageing: float
    grip: Grip
    bedding_length: float | None = None
    plate: Array | None = None
    """Standard normal scores of the plate's own shape; None: its middle."""
    traits: PaperTraits = MIDDLE
    """What all papers are taken to be."""
    sway: float = 5e-3
    dye: DyeDraw = MIDDLE_DYE
    """When the dye on the face fades and is gone; does not touch the lap."""

    def bedding_of(self, grit: Grit) -> float:
        """Bedding length λ on a fresh paper [m]."""
        return self.bedding_length or self.bedding * grit.diameter


def load_of(scenario: Scenario, conditions: Conditions) -> float:
    """Load on the paper: press of the hands and weight of the part, or the one stated [N]."""
    return scenario.exact.load or conditions.grip.press + scenario.part.weight


def law_of(scenario: Scenario, conditions: Conditions, grit: Grit) -> PaperLaw:
    """How a paper cuts the part of a scenario under one member's conditions."""
    law = paper_law(
        grit,
        scenario.part.metal,
        wet=scenario.paper.wet,
        ageing=conditions.ageing,
        traits=conditions.traits,
    )
    if conditions.bedding_length is not None:
        law = replace(law, blunt_bedding=1.0)
    return law


@dataclass(frozen=True)
class Stage:
    """Work on one paper: how many strokes, and what happens every how many of them (0: never).

    ``worn``: metal that the paper has cut everywhere before the first of them, per area of paper [m].
    """

    grit: Grit
    strokes: int
    turn_every: int
    brush_every: int
    sheet_every: int
    snapshots: tuple[int, ...] = ()
    worn: float = 0.0


@dataclass(frozen=True)
class Bench:
    """Everything of a scenario that the lap needs and that does not vary between members.

    Attributes
    ----------
    half : half length of the face, by which places are scaled [m]
    hull_normals, hull_supports : outward normals (k, 2) of the face's convex hull and how far
        it reaches along them (k,) [m]
    strips : rectangles of paper that lie on the plate (s, 4) [m]
    scale : rate of every point over that of the face's own metal (n,) [-]
    bending, basis : bending of a thin part and its coordinates (3 + shapes, n) at the grid's points;
        None and no rows for a rigid one
    """

    scenario: Scenario
    grid: Grid
    half: float
    hull_normals: Array
    hull_supports: Array
    strips: Array
    scale: Array
    bending: Bending | None
    basis: Array

    @cached_property
    def stepped(self) -> bool:
        """Whether paper lies on paper somewhere, so that the part rides up on a step at every stroke."""
        return overlap(self.strips)

    @cached_property
    def hull_of_cells(self) -> tuple[Array, Array]:
        """Normals (k, 2) and supports (k,) [m] of the hull of the cells' middles; none if all lie in line."""
        try:
            sides = ConvexHull(self.grid.points[: self.grid.n_cells]).equations
        except QhullError:
            sides = np.zeros((0, 3))
        return sides[:, :2], -sides[:, 2]

    @cached_property
    def room_in_hull(self) -> tuple[Array, Array, Array]:
        """Middle (2,) of the cells, normals (k, 2), and how far a resultant may go along them (k,) [m].

        A resultant is kept inside the hull of the face less one cell, and a little inside the hull of the
        cells' middles, which carry it: across the mouth of a notch between slender tips these lie further in.
        """
        grid = self.grid
        centre = np.array([np.mean(grid.u[: grid.n_cells]), np.mean(grid.v[: grid.n_cells])])
        room = np.maximum(self.hull_supports - grid.cell_size, 0.0)
        rooms = np.maximum(room - self.hull_normals @ centre, 0.0)
        sides, reach = self.hull_of_cells
        inside = np.maximum(reach - LEAST_INSIDE * grid.cell_size - sides @ centre, 0.0)
        return centre, np.vstack([self.hull_normals, sides]), np.concatenate([rooms, inside])

    @cached_property
    def ways_to_edge(self) -> Array:
        """Way [m] from every point to the convex rim (HEADINGS, n) in directions all round, from +u on."""
        found = np.empty((HEADINGS, self.grid.u.size))
        along = self.hull_normals[:, :1] * self.grid.u + self.hull_normals[:, 1:] * self.grid.v
        room = self.hull_supports[:, None] - along
        for row, heading in enumerate(2.0 * np.pi * np.arange(HEADINGS) / HEADINGS):
            towards = self.hull_normals @ np.array([np.cos(heading), np.sin(heading)])
            meets = towards > 1e-9
            found[row] = np.min(room[meets] / towards[meets, None], axis=0)
        return np.maximum(found, 0.0)


@dataclass(frozen=True)
class LapState:
    """A face on its way over one paper, between two strokes: all that the next one depends on.

    Attributes
    ----------
    heights : the face (n,) [m]
    grit : the paper
    paper : where its wear is remembered
    frame, ground : x0, y0 and spacing (3,), and heights (ny, nx) of plate and paper [m]
    carried : its wear, and the last poses, from which the search for the next begins
    place : strokes done, and where in the turning round and in the low-discrepancy sequence the work is
    rows : worked since the paper was laid [-]
    removed : metal off the face since then [m³]
    slid : Σ load × sliding distance [N·m]
    clipped : rows whose wobble would have left the hull of the face [-]
    tipped : rows whose mean resultant lay outside it [-]
    counted : what the kernel counts, see its ``D_…`` columns
    """

    heights: Array
    grit: Grit
    paper: PaperMemory
    frame: Array
    ground: Array
    carried: Carried
    place: Place
    rows: int
    removed: float
    slid: float
    clipped: float
    tipped: float
    counted: Array


@dataclass(frozen=True)
class LapRun:
    """What came of some strokes; totals and shares count from the start on this paper.

    Attributes
    ----------
    heights : face at each snapshot (snapshots, n) [m]
    strokes : strokes done at each snapshot, from the start on this paper [-]
    removed_volume : metal off the face [m³]
    deposited_volume : metal that came to lie on the paper, where paper is followed [m³]
    load_sliding : Σ load × sliding distance [N·m]
    clipped : share of rows whose wobble left the hull of the face and was held at it [-]
    tipped : share of rows whose mean resultant lay outside it [-]
    overhung : share of rows in which part of the face lay off the paper [-]
    evaluations : passes over the face that the pose solver took [-]
    state : from which the work goes on
    amplitudes : bending amplitudes while lapping, mean since the snapshot before (snapshots, shapes) [m]
    friction : of the paper as it is at each snapshot (snapshots,) [-]
    work : of the arms up to each snapshot (snapshots,) [J]
    clean, sharp : how clean and sharp the paper is under the part at each snapshot, new = 1 (snapshots,)
    """

    heights: Array
    strokes: tuple[int, ...]
    removed_volume: float
    deposited_volume: float | None
    load_sliding: float
    clipped: float
    tipped: float
    overhung: float
    evaluations: int
    amplitudes: Array
    friction: Array
    work: Array
    clean: Array
    sharp: Array
    state: LapState


def paper_on_plate(plate: tuple[float, float], strips: Sequence[Strip] | None) -> Array:
    """Rectangles (s, 4) of paper cut to the plate (length, width) about its middle [m].

    Raises
    ------
    InputError : if none of the strips lies on the plate
    """
    length, width = plate
    whole = (-length / 2, -width / 2, length / 2, width / 2)
    laid = [whole] if strips is None else [(s.x0, s.y0, s.x1, s.y1) for s in strips]
    cut = np.array(
        [(max(a, whole[0]), max(b, whole[1]), min(c, whole[2]), min(d, whole[3])) for a, b, c, d in laid]
    )
    cut = cut[(cut[:, 2] > cut[:, 0]) & (cut[:, 3] > cut[:, 1])]
    if not cut.size:
        raise InputError("none of the paper strips lies on the plate")
    return cut


def hull_of(outline: Outline) -> tuple[Array, Array]:
    """Outward normals (k, 2) and supports (k,) [m] of the convex hull of an outline."""
    hull = ConvexHull(outline.rim)
    normals, index = np.unique(np.round(hull.equations[:, :2], 12), axis=0, return_index=True)
    return normals, -hull.equations[index, 2]


def set_up(
    scenario: Scenario,
    *,
    cell: float | None = None,
    cells: int = 3000,
    follow: dict[str, Array] | None = None,
    like: Bench | None = None,
) -> Bench:
    """Put part, plate and paper of a scenario together on a grid (see :func:`make_grid`).

    ``like``: a bench whose grid, and bending where the part is the same, are taken over if the
    face has the same outline.
    """
    outline = scenario.part.outline
    if like is not None and like.scenario.part.outline is outline:
        grid = like.grid
    else:
        like = None
        grid = make_grid(outline, cell=cell or scenario.exact.cell, cells=cells, follow=follow)
    normals, supports = hull_of(outline)
    half = max(outline.length, outline.width) / 2.0
    if like is not None and like.scenario.part is scenario.part:
        bending = like.bending
    else:
        bending = make_bending(scenario.part, grid=grid, keep=BENDING_SHAPES)
    return Bench(
        scenario=scenario,
        grid=grid,
        half=half,
        hull_normals=normals,
        hull_supports=supports,
        strips=paper_on_plate((scenario.plate.length, scenario.plate.width), scenario.paper.strips),
        scale=_scale(scenario, grid),
        bending=bending,
        basis=coordinates(grid, half, bending),
    )


def _scale(scenario: Scenario, grid: Grid) -> Array:
    """Rate of every point (n,) over that of the face's own metal: inserts wear at their own."""
    scale = np.ones(grid.u.size)
    for insert in scenario.part.inserts:
        scale[inside_polygon(insert.area, grid.u, grid.v)] = insert.rate_ratio
    return scale


def coordinates(grid: Grid, half: float, bending: Bending | None) -> Array:
    """Approach, tilts and bending shapes (3 + shapes, n) at the points of a grid."""
    if bending is None:
        return np.zeros((0, grid.u.size))
    rigid = np.vstack([np.ones_like(grid.u), grid.u / half, grid.v / half])
    return np.ascontiguousarray(np.vstack([rigid, bending.shapes_at(grid.points).T]))


def _ground(bench: Bench, conditions: Conditions, reach: Array) -> tuple[Array, Array]:
    """Frame (x0, y0, spacing) and heights of plate and paper on a raster, where the part goes; one node for
    a flat.

    Parameters
    ----------
    reach : how far from the middle of the plate the part gets along x and y (2,) [m]
    """
    scenario = bench.scenario
    if is_flat(scenario):
        return np.array([0.0, 0.0, 1.0]), np.zeros((1, 1))
    if scenario.hands.twist != 0.0:
        reach = np.full(2, float(np.hypot(*reach)))
    low, high = bench.strips[:, :2].min(axis=0), bench.strips[:, 2:].max(axis=0)
    met = np.maximum(np.minimum(high, reach) - np.maximum(low, -reach), bench.grid.cell_size)
    step = max(bench.grid.cell_size, float(np.sqrt(np.prod(met) / MOST_NODES)))
    # Nodes lie where they would lie under the whole plate, so that they do not move with the stroke.
    before = np.maximum(np.floor((-reach - MARGIN * step - low) / step), 0.0)
    x0, y0 = low + before * step
    most_x, most_y = np.minimum(high, np.maximum(reach + MARGIN * step, (x0 + step, y0 + step)))
    nx, ny = max(_nodes(most_x - x0, step), 2), max(_nodes(most_y - y0, step), 2)
    load = load_of(scenario, conditions)
    heights = ground_of(
        scenario, x0=float(x0), y0=float(y0), step=step, nx=nx, ny=ny, score=conditions.plate, load=load
    )
    return np.array([x0, y0, step]), np.ascontiguousarray(heights)


def _nodes(length: float, step: float) -> int:
    """Nodes that cover a length; rounding must not add one where it holds a whole number of steps."""
    return int(np.ceil(length / step - 1e-9)) + 1


def hold_in_hull(table: Array, bench: Bench) -> tuple[float, float]:
    """Hold resultants of poses (m, 13), in place, inside the hull of the face less one cell.

    Returns how many rows were held, and of how many the mean resultant lay outside the hull.
    """
    steady = table[:, [column_kernels.EU_STEADY, column_kernels.EV_STEADY]] * bench.half
    tipped = np.any(steady @ bench.hull_normals.T > bench.hull_supports, axis=1)
    at = table[:, [column_kernels.EU, column_kernels.EV]] * bench.half
    centre, normals, left = bench.room_in_hull
    want = (at - centre) @ normals.T
    outside = want > left
    share = np.ones(len(at))
    if outside.any():
        share = np.min(np.divide(left, want, out=np.ones_like(want), where=outside), axis=1)
    held = centre + share[:, None] * (at - centre)
    table[:, [column_kernels.EU, column_kernels.EV]] = held / bench.half
    return float(np.sum(share < 1.0)), float(np.sum(tipped))


def states_of(scenario: Scenario) -> tuple[TurnState, ...]:
    """Ways of lying that the part goes through in a turning round; one where it is not turned."""
    return scenario.turning.states or (TurnState(0.0, 0.0),)


def stage_layout(
    bench: Bench,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    begin: Place = START,
    states: Sequence[TurnState] | None = None,
    first_events: int = 0,
) -> Layout:
    """Rows of a stage, four for each ``quad_strokes`` strokes, shared by all members of an ensemble.

    Parameters
    ----------
    begin : where the work stands; the strokes and looks of the stage count from there
    states : of the turning round; without them all of the scenario's, or the first where it is never turned
    first_events : what is done to the paper before the first stroke, see the kernel's ``EVENT_…``
    """
    strokes = bench.scenario.strokes
    if states is None:
        states = states_of(bench.scenario)
        states = states if stage.turn_every else states[:1]
    return poses.lay_out(
        pattern=strokes.pattern,
        length=strokes.length,
        direction=strokes.direction,
        states=states,
        turn_every=stage.turn_every,
        strokes=stage.strokes,
        quad_strokes=quad_strokes,
        brush_every=stage.brush_every,
        sheet_every=stage.sheet_every,
        snapshots=stage.snapshots,
        twist=bench.scenario.hands.twist,
        sway=strokes.sway.value if bench.scenario.wear.ages else 0.0,
        seed=seed,
        begin=begin,
        first_events=first_events,
        golden=bench.stepped,
    )


def _memory(bench: Bench, conditions: Conditions, layout: Layout, shift: tuple[float, float]) -> PaperMemory:
    strokes, grid = bench.scenario.strokes, bench.grid
    return lay_memory(
        layout.standings,
        pattern=strokes.pattern,
        length=strokes.length,
        sway=conditions.sway,
        u=grid.u,
        v=grid.v,
        cell=grid.cell_size,
        strips=bench.strips,
        shift=shift,
    )


def _paper_constants(
    bench: Bench, conditions: Conditions, law: PaperLaw, memory: PaperMemory, slower: tuple[int, int]
) -> Array:
    """Constants of the paper's memory, in the order of the kernel's columns; ``slower``: see the layout."""
    constants = np.zeros(10)
    constants[column_kernels.P_X0], constants[column_kernels.P_Y0] = memory.x0, memory.y0
    constants[column_kernels.P_STEP] = memory.step
    constants[column_kernels.P_FLOOR_LOAD] = law.loading_floor
    constants[column_kernels.P_FLOOR_DULL] = law.dulling_floor
    constants[column_kernels.P_SCALE_LOAD] = slower[0] * law.loading_scale
    constants[column_kernels.P_SCALE_DULL] = slower[1] * law.dulling_scale
    constants[column_kernels.P_BRUSH_LEAVES] = 1.0 - law.brushing
    constants[column_kernels.P_BLUNT] = law.blunt_bedding
    if bench.scenario.exact.load_at is None and not bench.scenario.exact.tilt_held:
        reach = law.friction_gain * conditions.friction * conditions.grip.height
        constants[column_kernels.P_REACH] = reach / bench.half
    return constants


def _rates(bench: Bench, law: PaperLaw, layout: Layout) -> Rates:
    """How fast every point is cut, by the heading of every row.

    A leading edge is cut faster, and meets the wave that the part pushes before it.
    """
    if law.edge_rate == 0.0 and law.edge_rise == 0.0:
        heading, faster, ahead = (
            np.zeros(layout.x.size, dtype=np.int64),
            bench.scale[None, :],
            np.zeros((0, 0)),
        )
    else:
        at = np.rint(layout.heading * HEADINGS / (2.0 * np.pi)).astype(np.int64) % HEADINGS
        known, which = np.unique(at, return_inverse=True)
        heading = which.ravel().astype(np.int64)
        way = bench.ways_to_edge[known]
        # Shorter than a cell it would fall between the points.
        length = max(law.edge_length, bench.grid.cell_size)
        faster = bench.scale * (1.0 + law.edge_rate * np.exp(-way / length))
        ahead = np.zeros((0, 0))
        if law.edge_rise != 0.0:
            ahead = law.edge_rise * np.exp(-way / EDGE_RISE_LENGTH)
    return Rates(bool(np.all(faster == 1.0)), heading, bench.grid.area / faster, np.log(faster), ahead)


def _hull(bench: Bench) -> Hull:
    """The hull of the face, over its half length, in which resultants are held."""
    centre, normals, rooms = bench.room_in_hull
    return Hull(normals, rooms / bench.half, centre / bench.half)


def _paper(
    bench: Bench, conditions: Conditions, law: PaperLaw, memory: PaperMemory, slower: tuple[int, int]
) -> Paper:
    """How one member's paper remembers, and how strokes run over it; ``slower``: see the layout."""
    return Paper(
        bench.scenario.wear.ages, _paper_constants(bench, conditions, law, memory, slower), memory.on_sheet,
        memory.turns, memory.lines, memory.taps, memory.tap_at, memory.bell,
    )  # fmt: skip


def _flexing(bench: Bench) -> Flexing:
    """Bending of a thin part, in the order of its coordinates; without rows for a rigid one."""
    if bench.bending is None:
        return Flexing(bench.basis, np.zeros((0, 0)), np.zeros(0), np.zeros(0))
    return Flexing(bench.basis, bench.bending.stiffness, bench.bending.press, bench.bending.weight)


def begin_lap(
    bench: Bench,
    heights: Array,
    conditions: Conditions,
    grit: Grit,
    layout: Layout,
    *,
    paper_shift: tuple[float, float] = (0.0, 0.0),
    worn: float = 0.0,
) -> LapState:
    """A face (n,) [m] put on paper, before the first stroke.

    Parameters
    ----------
    layout : of the first strokes; what follows has to turn the part among the same states
    paper_shift : moves the raster of the paper's memory by so many nodes: nothing must feel it
    worn : metal per area that the paper has cut everywhere before and that was brushed out; 0: new [m]
    """
    paper = _memory(bench, conditions, layout, paper_shift)
    followed = bench.scenario.wear.ages
    carried = nothing_carried(
        points=bench.grid.u.size,
        shapes=0 if bench.bending is None else bench.bending.count,
        kinds=2 * layout.states,
        bedding=conditions.bedding_of(grit),
        raster=paper.shape if followed else (0, 0),
        ways=len(layout.standings) if followed else 0,
        partly=followed and paper.on_sheet.size > 0,
    )
    carried.dull[:] = worn
    frame, ground = _ground(bench, conditions, paper.reach)
    return LapState(
        heights=np.array(heights, dtype=float),
        grit=grit,
        paper=paper,
        frame=frame,
        ground=ground,
        carried=carried,
        place=layout.begin,
        rows=0,
        removed=0.0,
        slid=0.0,
        clipped=0.0,
        tipped=0.0,
        counted=np.zeros(column_kernels.DIAGNOSTICS),
    )


def _load_poses(bench: Bench, conditions: Conditions, layout: Layout) -> tuple[Array, float, float]:
    """Poses of one pair of hands, and of how many rows they tip the part: by wobble, and all the time.

    Raises
    ------
    InputError : if the hands lift more than the part weighs
    """
    scenario, exact = bench.scenario, bench.scenario.exact
    table = poses.load_poses(
        layout,
        conditions.grip,
        weight=scenario.part.weight,
        weight_at=scenario.part.weight_at,
        friction=conditions.friction,
        half=bench.half,
        one_way=PATTERNS[scenario.strokes.pattern].one_way,
        load=exact.load,
        load_at=exact.load_at,
    )
    if np.any(table[:, column_kernels.LOAD] <= 0.0):
        raise InputError("the hands lift more than the part weighs: nothing presses on the paper")
    return (table, 0.0, 0.0) if exact.tilt_held else (table, *hold_in_hull(table, bench))


def lap_on(bench: Bench, state: LapState, conditions: Conditions, layout: Layout) -> LapRun:
    """Carry a face on through the strokes of a layout, which begins where the state is.

    The state is left as it was; that after the strokes is in the run.  Where the layout of a longer
    piece of work is cut at one of its events or looks, the pieces come to the same, to the last bit.

    Raises
    ------
    InputError : if the hands lift more than the part weighs
    TippingError : if too little of the face lies on paper to carry it
    SolverError : if no pose can be found
    """
    scenario, grid, bending, paper = bench.scenario, bench.grid, bench.bending, state.paper
    exact = scenario.exact
    assert layout.begin == state.place, "the strokes begin elsewhere"
    table, clipped, tipped = _load_poses(bench, conditions, layout)
    law = law_of(scenario, conditions, state.grit)
    bedding = conditions.bedding_of(state.grit)
    h = state.heights.copy()
    carried = copy_of(state.carried)
    # As far gone as it is, however slowly it goes on: powers of two, which round nothing.
    carried.load[:] *= layout.slower[0]
    carried.dull[:] *= layout.slower[1]
    counted = state.counted.copy()
    looks = len(layout.snapshot_strokes)
    snapshots, noted = np.empty((looks, h.size)), np.empty((looks, column_kernels.NOTED))
    amplitudes = np.zeros((looks, 0 if bending is None else bending.count))
    constants = np.array(
        [
            conditions.rate * law.rate_factor,
            bedding,
            bench.half,
            grid.cell_size,
            max(MOTION_CAP, FINEST_CAP * bedding),
            scenario.part.outline.area,
            0.0 if exact.load is not None else scenario.part.weight,
        ]
    )
    face = Face(h, grid.u / bench.half, grid.v / bench.half, grid.area, grid.n_cells)
    notes = Notes(snapshots, noted, amplitudes)
    status = march(
        face,
        _rates(bench, law, layout),
        Rows(table, layout.kinds, layout.events, layout.standing),
        constants,
        not exact.tilt_held,
        _hull(bench),
        _paper(bench, conditions, law, paper, layout.slower),
        Ground(state.frame, state.ground, bench.strips),
        _flexing(bench),
        carried,
        notes,
        np.empty((WORK_ROWS, h.size)),
        counted,
    )
    _raise_for(status, counted, layout)
    carried.load[:] /= layout.slower[0]
    carried.dull[:] /= layout.slower[1]
    slid = state.slid + np.cumsum(table[:, column_kernels.LOAD] * layout.slide)
    after = LapState(
        heights=h,
        grit=state.grit,
        paper=paper,
        frame=state.frame,
        ground=state.ground,
        carried=carried,
        place=layout.end,
        rows=state.rows + layout.x.size,
        removed=state.removed + float(grid.area @ (state.heights - h)),
        slid=float(slid[-1]),
        clipped=state.clipped + clipped,
        tipped=state.tipped + tipped,
        counted=counted,
    )
    at_look = np.flatnonzero(layout.events & column_kernels.EVENT_SNAPSHOT)
    clean, sharp, clogged = noted.T
    return LapRun(
        heights=snapshots,
        strokes=tuple(layout.begin.strokes + k for k in layout.snapshot_strokes),
        removed_volume=after.removed,
        deposited_volume=float(counted[column_kernels.D_DEPOSITED]) if scenario.wear.ages else None,
        load_sliding=after.slid,
        clipped=max(after.clipped, counted[column_kernels.D_CLIPPED]) / after.rows,
        tipped=max(after.tipped, counted[column_kernels.D_TIPPED]) / after.rows,
        overhung=float(counted[column_kernels.D_OFF_PAPER]) / after.rows,
        evaluations=int(counted[column_kernels.D_EVALUATIONS]),
        amplitudes=amplitudes,
        friction=conditions.friction * (1.0 + law.friction_gain * (1.0 - clean)),
        work=conditions.friction * (slid[at_look] + law.friction_gain * clogged),
        clean=clean,
        sharp=sharp,
        state=after,
    )


def run_stage(
    bench: Bench,
    heights: Array,
    conditions: Conditions,
    stage: Stage,
    layout: Layout,
    *,
    paper_shift: tuple[float, float] = (0.0, 0.0),
) -> LapRun:
    """Carry a face (n,) [m] through one stage; the paper is new at its start, or as worn as the stage says.

    Parameters and errors as for :func:`begin_lap` and :func:`lap_on`.
    """
    state = begin_lap(
        bench, heights, conditions, stage.grit, layout, paper_shift=paper_shift, worn=stage.worn
    )
    return lap_on(bench, state, conditions, layout)


def _raise_for(status: int, diagnostics: Array, layout: Layout) -> None:
    row = int(diagnostics[column_kernels.D_FAILED_ROW])
    done = layout.begin.strokes + float(layout.ends[row])
    if status == column_kernels.STATUS_NO_CONTACT:
        raise TippingError(
            f"after {done:.0f} strokes too little of the face lies on the paper to carry it: "
            "shorten the stroke, or move the paper or the part"
        )
    if status == column_kernels.STATUS_NO_RASTER:
        raise AssertionError("the memory of the paper is too small for its strokes")
    if status != column_kernels.STATUS_OK:
        raise SolverError(
            f"no pose found in {pose_kernels.MAX_EVALUATIONS} evaluations, row {row} of {layout.x.size} "
            f"({done:.0f} strokes done)"
        )


def tipping_words(conditions: Conditions, share: float) -> str:
    """What to say when the press lies off the face in a ``share`` (0 to 1) of the work."""
    height = conditions.grip.height
    return (
        f"the part tips over: in {100 * share:.0f} % of the work the press and the weight act beyond "
        f"the edge of what lies on the paper. Pushing {spoken.distance(height)} over the paper moves them "
        f"{spoken.distance(conditions.friction * height)} forward: hold it lower, push along the long side, "
        "press nearer to the middle, or keep more of the part on the paper"
    )
