"""Part, plate and paper of a scenario put together on a grid: what does not vary between members."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from handlap.sim.common.errors import InputError
from handlap.sim.common.grid import Grid, make_grid
from handlap.sim.common.outline import Array, Outline, inside_polygon
from handlap.sim.job.paper_area import overlap
from handlap.sim.job.scenario import Scenario, Strip
from handlap.sim.lapping import column_kernels
from handlap.sim.lapping.bending import Bending, make_bending
from handlap.sim.lapping.paper_memory import APART, Nodes

LEAST_INSIDE = 0.25
"""Resultants stay so many cells inside the hull of the cells' middles."""
HEADINGS = 32
"""Directions of motion, all round, for which the way to the leading edge is known."""
BENDING_SHAPES = 12
"""Softest shapes in which a thin part may bend: within 0.2 µm of four times as many (200 × 100 × 6 mm
aluminium bowed by 100 µm, pressed in the middle)."""


@dataclass(frozen=True)
class Rig:
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
    nodes : how far apart the paper is remembered
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
    nodes: Nodes = APART

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
    like: Rig | None = None,
    nodes: Nodes = APART,
) -> Rig:
    """Put part, plate and paper of a scenario together on a grid (see :func:`make_grid`).

    ``like``: a rig whose grid, and bending where the part is the same, are taken over if the
    face has the same outline; ``nodes``: of the paper's memory.
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
    return Rig(
        scenario=scenario,
        grid=grid,
        half=half,
        hull_normals=normals,
        hull_supports=supports,
        strips=paper_on_plate((scenario.plate.length, scenario.plate.width), scenario.paper.strips),
        scale=_scale(scenario, grid),
        bending=bending,
        basis=coordinates(grid, half, bending),
        nodes=nodes,
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


def hold_in_hull(table: Array, rig: Rig) -> tuple[float, float]:
    """Hold resultants of poses (m, 13), in place, inside the hull of the face less one cell.

    Returns how many rows were held, and of how many the mean resultant lay outside the hull.
    """
    steady = table[:, [column_kernels.EU_STEADY, column_kernels.EV_STEADY]] * rig.half
    tipped = np.any(steady @ rig.hull_normals.T > rig.hull_supports, axis=1)
    at = table[:, [column_kernels.EU, column_kernels.EV]] * rig.half
    centre, normals, left = rig.room_in_hull
    want = (at - centre) @ normals.T
    outside = want > left
    share = np.ones(len(at))
    if outside.any():
        share = np.min(np.divide(left, want, out=np.ones_like(want), where=outside), axis=1)
    held = centre + share[:, None] * (at - centre)
    table[:, [column_kernels.EU, column_kernels.EV]] = held / rig.half
    return float(np.sum(share < 1.0)), float(np.sum(tipped))
