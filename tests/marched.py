"""The compiled march called on poses and paper written out by hand, without a job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from jobs import Pair

from handlap.sim.common.outline import Array
from handlap.sim.lapping import column_kernels, march_kernels, pose_kernels, scratch_kernels
from handlap.sim.lapping.record_kernels import (
    FaceRecord,
    Flexing,
    Ground,
    Hull,
    Notes,
    PaperRecord,
    Rates,
    Rows,
    nothing_carried,
)
from handlap.sim.lapping.set_up import Rig


@dataclass(frozen=True)
class Marched:
    """What :func:`march` left behind."""

    status: int
    heights: Array
    snapshots: Array
    diagnostics: Array
    load: Array
    dull: Array
    on_sheet: Array
    paper_step: float
    noted: Array


@dataclass(frozen=True)
class FoundPose:
    """What :func:`search_pose` left: the pose (modes,), and softplus (n,) at it."""

    status: int
    evaluations: int
    pose: Array
    soft: Array


def found_pose(
    base: Array, coordinates: Any, weight: Array, target: Any, *, start: Any, cap: float,
    elastic: Array | None = None, tilt_free: bool = True, tolerance: float = pose_kernels.TOLERANCE,
) -> FoundPose:  # fmt: skip
    """Call the compiled search on cells of closing ``base`` and weight (n,).

    ``coordinates`` (modes, n): 1, u, v and the shapes of a thin part, which is as stiff as ``elastic``.
    """
    rows = np.ascontiguousarray(coordinates)
    soft, logistic, closing, heights = np.zeros((4, base.size))
    near = scratch_kernels.Spots(heights, rows[1], rows[2], base, soft, logistic, closing)
    search = scratch_kernels.new_search(near, rows if len(rows) > 3 else rows[:0], tilt_free)
    search.target[:] = target
    if elastic is not None:
        search.elastic[:] = elastic
    pose = np.array(start, dtype=float)
    status, evaluations = pose_kernels.search_pose(near, weight, cap, pose, search, tolerance)
    return FoundPose(status, evaluations, pose, soft + logistic * (search.step @ rows))


def pose_table(
    count: int, slide: float, load: float, at: Any = (0.0, 0.0), *, half: float, x: Any = 0.0, y: Any = 0.0,
    turn: Any = 0.0,
) -> Array:  # fmt: skip
    """Poses (count, columns) of equal sliding distance [m]; ``at`` (2,) or (count, 2) [m]."""
    table = np.zeros((count, column_kernels.POSE_COLUMNS))
    at = np.broadcast_to(np.asarray(at, dtype=float), (count, 2)) / half
    table[:, column_kernels.X], table[:, column_kernels.Y] = x, y
    table[:, column_kernels.COS], table[:, column_kernels.SIN] = np.cos(turn), np.sin(turn)
    table[:, column_kernels.LOAD] = load
    table[:, [column_kernels.EU, column_kernels.EV]] = at
    table[:, [column_kernels.EU_STEADY, column_kernels.EV_STEADY]] = at
    table[:, column_kernels.SLIDE] = slide
    return table


@dataclass(frozen=True)
class OnPaper:
    """The paper's memory for poses written out by hand, and how strokes run over it.

    Attributes
    ----------
    floors, scales : of loading and dulling [-, m]
    leaves : share of the loading that brushing leaves [-]
    blunt, gain_reach : share of λ that blunt paper keeps [-]; how much further forward the resultant lies
        on clogged paper [m]
    turns : how the part may stand (k,) [rad], and ``standing`` (rows,) which of them; None: the first
    stroke : nodes about the middle and the share of the stroke near each (t, 3), or the half lengths (2,)
        of one that runs along x or y [nodes]
    bell : weights of the sway from the middle outwards (b + 1,)
    node : spacing of the nodes over the cell of the face [-]
    """

    floors: Pair = (0.3, 0.2)
    scales: Pair = (10e-6, 50e-6)
    leaves: float = 0.4
    blunt: float = 1.0
    gain_reach: float = 0.0
    turns: tuple[float, ...] = (0.0,)
    standing: Any = None
    stroke: Any = ((0.0, 0.0, 1.0),)
    bell: tuple[float, ...] = (1.0,)
    node: float = 1.0

    def given(self, rig: Rig, rows: int) -> dict[str, Any]:
        """What the march takes of it."""
        step = self.node * rig.grid.cell_size
        stroke = np.array(self.stroke, dtype=float)
        line, taps = (stroke, np.empty((0, 3))) if stroke.ndim == 1 else (np.zeros(2), stroke)
        # Room for spreading, which reads further than it writes.
        reach = np.hypot(np.abs(rig.grid.u).max(), np.abs(rig.grid.v).max()) / step
        out = 2.0 * np.abs(stroke).max() + 2.0 * len(self.bell) + 6.0
        count = 2 * int(np.ceil(reach + out)) + 1
        at = np.asarray(step * (np.arange(count) - count // 2), dtype=float)
        paper = np.zeros(column_kernels.PAPER_CONSTANTS)
        for column, value in (
            (column_kernels.P_X0, at[0]), (column_kernels.P_Y0, at[0]), (column_kernels.P_STEP_X, step),
            (column_kernels.P_STEP_Y, step),
            (column_kernels.P_FLOOR_LOAD, self.floors[0]), (column_kernels.P_FLOOR_DULL, self.floors[1]),
            (column_kernels.P_SCALE_LOAD, self.scales[0]), (column_kernels.P_SCALE_DULL, self.scales[1]),
            (column_kernels.P_BRUSH_LEAVES, self.leaves), (column_kernels.P_BLUNT, self.blunt),
            (column_kernels.P_REACH, self.gain_reach / rig.half),
        ):  # fmt: skip
            paper[column] = value
        k = len(self.turns)
        standing = np.zeros(rows, dtype=np.int64) if self.standing is None else self.standing
        return {
            "constants": paper,
            "raster": (count, count),
            "on_sheet": papered(at, step, rig.strips),
            "standing": standing,
            "turns": np.column_stack([np.cos(self.turns), np.sin(self.turns)]),
            "taps": np.vstack([taps] * k),
            "tap_at": len(taps) * np.arange(k + 1),
            "lines": np.vstack([line] * k),
            "bell_x": np.array(self.bell),
            "bell_y": np.array(self.bell),
        }


def papered(at: Array, step: float, strips: Array) -> Array:
    """Share of every square about (at, at) (n, n) that has paper; none where all of them have [-]."""

    def covered(low: float, high: float) -> Array:
        return (np.minimum(at + step / 2, high) - np.maximum(at - step / 2, low)).clip(0.0) / step

    found = sum(np.outer(covered(y0, y1), covered(x0, x1)) for x0, y0, x1, y1 in strips)
    return np.zeros((0, 0)) if np.min(found) > 1.0 - 1e-12 else np.minimum(found, 1.0)


def march(
    rig: Rig,
    heights: Array,
    table: Array,
    *,
    rate: float = 0.045e-9,
    bedding: float = 24e-6,
    scale: Array | None = None,
    ahead: Array | None = None,
    tilt_free: bool = True,
    every: int | None = None,
    paper: OnPaper | None = None,
    kinds: Array | None = None,
    events: Array | None = None,
) -> Marched:
    """Call the compiled march on poses written out by hand.

    ``scale``: rate of every spot over that of the face's metal (n,) or by heading, as ``ahead``, how much
    the paper rises there (n,) [m]; ``every``: rows between snapshots (None: only the last); ``paper``: None
    stays fresh.
    """
    grid = rig.grid
    h = np.array(heights, dtype=float)
    rows = len(table)
    marks: Any = np.zeros(rows, dtype=np.int64) if events is None else np.array(events)
    marks[(every or rows) - 1 :: (every or rows)] |= column_kernels.EVENT_SNAPSHOT
    looks = int(np.count_nonzero(marks & column_kernels.EVENT_SNAPSHOT))
    snapshots = np.empty((looks, h.size))
    remembered = (paper or OnPaper()).given(rig, rows)
    raster = remembered.pop("raster")
    constants = np.array(
        [rate, bedding, rig.half, grid.cell_size, max(50e-6, 3.0 * bedding), float(grid.area.sum()), 0.0]
    )
    turned: Any = np.zeros(rows, dtype=np.int64) if kinds is None else kinds
    followed = paper is not None
    carried = nothing_carried(
        points=h.size,
        shapes=0,
        kinds=int(turned.max()) + 1,
        bedding=bedding,
        raster=raster if followed else (0, 0),
        ways=len(remembered["turns"]) if followed else 0,
        partly=followed and remembered["on_sheet"].size > 0,
    )
    diagnostics, noted = np.zeros(column_kernels.DIAGNOSTICS), np.empty((looks, column_kernels.NOTED))
    centre, normals, rooms = rig.room_in_hull
    faster = np.ones((1, h.size)) if scale is None else np.atleast_2d(scale)
    status = march_kernels.march(
        FaceRecord(h, grid.u / rig.half, grid.v / rig.half, grid.area, grid.n_cells),
        Rates(
            np.zeros(rows, dtype=np.int64), grid.area / faster, np.log(faster),
            np.zeros((0, h.size)) if ahead is None else np.atleast_2d(ahead),
        ),
        Rows(np.array(table), turned, marks, remembered.pop("standing")),
        constants,
        tilt_free,
        Hull(normals, rooms / rig.half, centre / rig.half),
        PaperRecord(ages=followed, **remembered),
        # A flat plate under a rigid part.
        Ground(np.array([0.0, 0.0, 1.0]), np.zeros((1, 1)), rig.strips),
        Flexing(np.empty((0, h.size)), np.empty((0, 0)), np.empty(0), np.empty(0)),
        carried,
        Notes(snapshots, noted, np.empty((looks, 0))),
        np.empty((march_kernels.WORK_ROWS, h.size)),
        diagnostics,
    )  # fmt: skip
    return Marched(
        status,
        h,
        snapshots,
        diagnostics,
        carried.load,
        carried.dull,
        remembered["on_sheet"],
        remembered["constants"][column_kernels.P_STEP_X],
        noted,
    )
