"""Records that the march is given: face, rates, poses, paper, ground, bending, and what it carries along.

Kernels take them as they are: named tuples of arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
(C_DEPTH, C_CLOGGED, C_BEGUN) = range(3)
COUNTED = 3


class FaceRecord(NamedTuple):
    """The points of a face: heights (n,) [m], which the march changes, and what stays.

    Attributes
    ----------
    h : heights [m]; u, v : places over the half length [-]; area : of the cell about each [m²], all (n,)
    cells : the first of the points, which have an area; the rest only feel the wear
    """

    h: Floats
    u: Floats
    v: Floats
    area: Floats
    cells: int


class Rates(NamedTuple):
    """How fast spots are cut, over the rate of the face's metal, by heading.

    Attributes
    ----------
    of_row (m,) : heading of every row, a row of the others
    shares (k, n) : area over rate [m²]; logs (k, n) : logarithm of the rate [-]
    ahead (k, n) : how much the paper rises near the leading edge [m]; no rows: nowhere
    """

    of_row: NDArray[np.int64]
    shares: Floats
    logs: Floats
    ahead: Floats


class Rows(NamedTuple):
    """The list of poses.

    Attributes
    ----------
    poses (m, 13), events (m,) : see the columns
    kinds (m,) : poses of one kind resemble one another and start from each other's solution
    standing (m,) : how the part stands and runs, a row of those of the paper
    """

    poses: Floats
    kinds: NDArray[np.int64]
    events: NDArray[np.int64]
    standing: NDArray[np.int64]


class Hull(NamedTuple):
    """Outward normals (k, 2) of the face's hull, ``rooms`` (k,) and ``centre`` (2,): :func:`hold_in_room`."""

    normals: Floats
    rooms: Floats
    centre: Floats


class PaperRecord(NamedTuple):
    """How the paper remembers, and how strokes run over it.

    Attributes
    ----------
    ages : whether its wear is followed
    constants (11,) : see the columns ``P_…``
    on_sheet (ny, nx) : share of every node that has paper; no nodes: all that is met
    turns (k, 2) : cosine and sine of the part's turn, for each way in which it stands and runs
    lines (k, 2), taps (t, 3), from tap_at[k] to tap_at[k + 1] : its path about the middle of the plate, see
        :func:`over_stroke`
    bell_x (b + 1,), bell_y (c + 1,) : weights of the sway along x and along y, from the middle outwards
    """

    ages: bool
    constants: Floats
    on_sheet: Floats
    turns: Floats
    lines: Floats
    taps: Floats
    tap_at: NDArray[np.int64]
    bell_x: Floats
    bell_y: Floats


class Ground(NamedTuple):
    """Plate and paper: x0, y0, spacing ``frame`` (3,), ``heights`` (gy, gx) [m], one node for a flat, and
    ``strips`` (s, 4) of paper [m]."""

    frame: Floats
    heights: Floats
    strips: Floats


class Flexing(NamedTuple):
    """Bending of a thin part, see :mod:`handlap.sim.lapping.bending`; no rows for a rigid one.

    Attributes
    ----------
    basis (3 + shapes, n) : approach, tilts and shapes at the points
    stiffness (shapes, shapes) [N/m]; press, weight (shapes,) : what hands and weight do to each shape [-]
    """

    basis: Floats
    stiffness: Floats
    press: Floats
    weight: Floats


class Notes(NamedTuple):
    """What is noted after each pose marked EVENT_SNAPSHOT.

    Attributes
    ----------
    heights (count, n) [m]; paper (count, 3) : see NOTED
    amplitudes (count, shapes) : mean bending amplitude over the poses since the one before [m]
    """

    heights: Floats
    paper: Floats
    amplitudes: Floats


class Carried(NamedTuple):
    """What :func:`march` takes along from one list of poses to the next of the same lap, changed in place.

    Attributes
    ----------
    load, dull : raster of the paper's memory (ny, nx) [m of metal cut]; no nodes where it is not followed
    poses : last solution of every kind of pose (kinds, 3 + shapes) [bedding lengths]
    met : which kinds have been met (kinds,)
    depth_then, lam_then : mean depth removed and λ at the last pose of every kind (kinds,) [m]
    last : solution of the last pose (3 + shapes,)
    doses, dosed_over : what a row last laid on the paper, push and pull apart (2 k, ny, nx) [m], and over
        what slide (2 k,) [m]; k ways to stand and run
    feet : what a face cut evenly lays on the paper (k, ny, nx), its sum 1
    windows : nodes that they reach (k, 3, 4); known : which of them are laid out (k,)
    papered : share of its stroke that every point has over paper (k or 0, n) [-]
    counted (3,) : mean depth removed [m], N_CLOGGED so far, and whether there was a pose yet
    """

    load: Floats
    dull: Floats
    poses: Floats
    met: NDArray[np.bool_]
    depth_then: Floats
    lam_then: Floats
    last: Floats
    doses: Floats
    dosed_over: Floats
    feet: Floats
    windows: NDArray[np.int64]
    known: NDArray[np.bool_]
    papered: Floats
    counted: Floats


def copy_of(carried: Carried) -> Carried:
    """The same, to be changed apart."""
    return Carried._make(field.copy() for field in carried)


def nothing_carried(
    *, points: int, shapes: int, kinds: int, bedding: float, raster: tuple[int, int], ways: int, partly: bool
) -> Carried:
    """Before the first pose, on new paper.

    Parameters
    ----------
    points, shapes, kinds : of the face, of its bending, of poses
    bedding : λ on fresh paper [m]
    raster : nodes of the paper's memory (ny, nx); (0, 0) where it is not followed
    ways : ways to stand and run; partly : whether some of the nodes have no paper
    """
    modes = 3 + shapes
    return Carried(
        load=np.zeros(raster),
        dull=np.zeros(raster),
        poses=np.zeros((kinds, modes)),
        met=np.zeros(kinds, dtype=np.bool_),
        depth_then=np.zeros(kinds),
        lam_then=np.full(kinds, bedding),
        last=np.zeros(modes),
        doses=np.zeros((2 * ways, *raster)),
        dosed_over=np.ones(2 * ways),
        feet=np.zeros((ways, *raster)),
        windows=np.zeros((ways, 3, 4), dtype=np.int64),
        known=np.zeros(ways, dtype=np.bool_),
        papered=np.ones((ways if partly else 0, points)),
        counted=np.zeros(COUNTED),
    )
