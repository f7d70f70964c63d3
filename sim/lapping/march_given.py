"""What a march is given: plate, paper, rates, bending and poses of one member as arrays for the kernels."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.lapping import column_kernels, poses
from handlap.sim.lapping.conditions import Conditions, load_of
from handlap.sim.lapping.ground import ground_of, is_flat
from handlap.sim.lapping.paper_memory import PaperMemory, lay_memory
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.record_kernels import Flexing, Hull, PaperRecord, Rates
from handlap.sim.lapping.set_up import HEADINGS, Rig, hold_in_hull
from handlap.sim.materials.paper_law import EDGE_RISE_LENGTH, PaperLaw

MOTION_CAP = 50e-6
"""Furthest the solver may move any spot of the face in one iteration [m]."""
FINEST_CAP = 3.0
"""… but no less than this many bedding lengths."""
MOST_NODES = 200_000
"""Nodes of the raster of plate and paper: with more their spacing grows beyond that of the cells [-]."""
MARGIN = 2.0
"""… and it reaches so many of them further than the part."""


def ground_under(rig: Rig, conditions: Conditions, reach: Array) -> tuple[Array, Array]:
    """Frame (x0, y0, spacing) and heights of plate and paper on a raster, where the part goes; one node for
    a flat.

    Parameters
    ----------
    reach : how far from the middle of the plate the part gets along x and y (2,) [m]
    """
    scenario = rig.scenario
    if is_flat(scenario):
        return np.array([0.0, 0.0, 1.0]), np.zeros((1, 1))
    if scenario.hands.twist != 0.0:
        reach = np.full(2, float(np.hypot(*reach)))
    low, high = rig.strips[:, :2].min(axis=0), rig.strips[:, 2:].max(axis=0)
    met = np.maximum(np.minimum(high, reach) - np.maximum(low, -reach), rig.grid.cell_size)
    step = max(rig.grid.cell_size, float(np.sqrt(np.prod(met) / MOST_NODES)))
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


def memory_of(rig: Rig, conditions: Conditions, layout: Layout, shift: tuple[float, float]) -> PaperMemory:
    """Where the paper's wear is remembered; ``shift``: of its raster, in nodes."""
    strokes, grid = rig.scenario.strokes, rig.grid
    return lay_memory(
        layout.standings,
        pattern=strokes.pattern,
        length=strokes.length,
        sway=conditions.sway,
        u=grid.u,
        v=grid.v,
        cell=grid.cell_size,
        strips=rig.strips,
        shift=shift,
        nodes=rig.nodes,
    )


def _paper_constants(
    rig: Rig, conditions: Conditions, law: PaperLaw, memory: PaperMemory, slower: tuple[int, int]
) -> Array:
    """Constants of the paper's memory, in the order of the kernel's columns; ``slower``: see the layout."""
    constants = np.zeros(column_kernels.PAPER_CONSTANTS)
    constants[column_kernels.P_X0], constants[column_kernels.P_Y0] = memory.x0, memory.y0
    constants[column_kernels.P_STEP_X], constants[column_kernels.P_STEP_Y] = memory.steps
    constants[column_kernels.P_FLOOR_LOAD] = law.loading_floor
    constants[column_kernels.P_FLOOR_DULL] = law.dulling_floor
    constants[column_kernels.P_SCALE_LOAD] = slower[0] * law.loading_scale
    constants[column_kernels.P_SCALE_DULL] = slower[1] * law.dulling_scale
    constants[column_kernels.P_BRUSH_LEAVES] = 1.0 - law.brushing
    constants[column_kernels.P_BLUNT] = law.blunt_bedding
    if rig.scenario.exact.load_at is None and not rig.scenario.exact.tilt_held:
        reach = law.friction_gain * conditions.friction * conditions.grip.height
        constants[column_kernels.P_REACH] = reach / rig.half
    return constants


def rates_of(rig: Rig, law: PaperLaw, layout: Layout) -> Rates:
    """How fast every point is cut, by the heading of every row.

    A leading edge is cut faster, and meets the wave that the part pushes before it.
    """
    if law.edge_rate == 0.0 and law.edge_rise == 0.0:
        heading, faster, ahead = (
            np.zeros(layout.x.size, dtype=np.int64),
            rig.scale[None, :],
            np.zeros((0, 0)),
        )
    else:
        at = np.rint(layout.heading * HEADINGS / (2.0 * np.pi)).astype(np.int64) % HEADINGS
        known, which = np.unique(at, return_inverse=True)
        heading = which.ravel().astype(np.int64)
        way = rig.ways_to_edge[known]
        # Shorter than a cell it would fall between the points.
        length = max(law.edge_length, rig.grid.cell_size)
        faster = rig.scale * (1.0 + law.edge_rate * np.exp(-way / length))
        ahead = np.zeros((0, 0))
        if law.edge_rise != 0.0:
            ahead = law.edge_rise * np.exp(-way / EDGE_RISE_LENGTH)
    return Rates(heading, rig.grid.area / faster, np.log(faster), ahead)


def hull_to_hold(rig: Rig) -> Hull:
    """The hull of the face, over its half length, in which resultants are held."""
    centre, normals, rooms = rig.room_in_hull
    return Hull(normals, rooms / rig.half, centre / rig.half)


def paper_of(
    rig: Rig, conditions: Conditions, law: PaperLaw, memory: PaperMemory, slower: tuple[int, int]
) -> PaperRecord:
    """How one member's paper remembers, and how strokes run over it; ``slower``: see the layout."""
    return PaperRecord(
        rig.scenario.wear.ages, _paper_constants(rig, conditions, law, memory, slower), memory.on_sheet,
        memory.turns, memory.lines, memory.taps, memory.tap_at, memory.bell_x, memory.bell_y,
    )  # fmt: skip


def constants_of(rig: Rig, conditions: Conditions, law: PaperLaw, bedding: float) -> Array:
    """Constants of a lap, in the order of the kernel's columns ``K_…``; ``bedding``: λ of fresh paper [m]."""
    exact, part = rig.scenario.exact, rig.scenario.part
    return np.array(
        [
            conditions.rate * law.rate_factor,
            bedding,
            rig.half,
            rig.grid.cell_size,
            max(MOTION_CAP, FINEST_CAP * bedding),
            part.outline.area,
            0.0 if exact.load is not None else part.weight,
        ]
    )


def flexing_of(rig: Rig) -> Flexing:
    """Bending of a thin part, in the order of its coordinates; without rows for a rigid one."""
    if rig.bending is None:
        return Flexing(rig.basis, np.zeros((0, 0)), np.zeros(0), np.zeros(0))
    return Flexing(rig.basis, rig.bending.stiffness, rig.bending.press, rig.bending.weight)


def poses_of(rig: Rig, conditions: Conditions, layout: Layout) -> tuple[Array, float, float]:
    """Poses of one pair of hands, and of how many rows they tip the part: by wobble, and all the time.

    Raises
    ------
    InputError : if the hands lift more than the part weighs
    """
    scenario, exact = rig.scenario, rig.scenario.exact
    table = poses.load_poses(
        layout,
        conditions.grip,
        weight=scenario.part.weight,
        weight_at=scenario.part.weight_at,
        friction=conditions.friction,
        half=rig.half,
        one_way=PATTERNS[scenario.strokes.pattern].one_way,
        load=exact.load,
        load_at=exact.load_at,
    )
    if np.any(table[:, column_kernels.LOAD] <= 0.0):
        raise InputError("the hands lift more than the part weighs: nothing presses on the paper")
    return (table, 0.0, 0.0) if exact.tilt_held else (table, *hold_in_hull(table, rig))
