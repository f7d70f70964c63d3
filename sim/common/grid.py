"""Cells of a face with exact areas, and massless points where heights are followed.

A face is carried as a list of points.  The first ``n_cells`` of them are cells of a regular
raster, cut by the outline: each stands at its own centroid and carries its own area, so that
area and first moments of the face are exact.  The points after them have no area: they feel
the same wear as the metal around them, and serve to know the height at the very edge and on
the lines of a straightedge, which the middles of coarse cells miss by 10 µm and more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.jit import kernel
from handlap.sim.common.outline import Array, Outline

SMALLEST_SHARE = 1e-3
"""Cells of which less than this share is metal are merged into the area of their neighbours."""


@kernel()
def _clip_half(points: Array, n: int, out: Array, axis: int, limit: float, keep_above: bool) -> int:
    """Sutherland–Hodgman: one side of the clip window; returns the new number of points."""
    m = 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        a = points[i, axis] - limit
        b = points[j, axis] - limit
        if not keep_above:
            a, b = -a, -b
        if a >= 0.0:
            out[m, 0] = points[i, 0]
            out[m, 1] = points[i, 1]
            m += 1
        if (a >= 0.0) != (b >= 0.0):
            share = a / (a - b)
            out[m, 0] = points[i, 0] + share * (points[j, 0] - points[i, 0])
            out[m, 1] = points[i, 1] + share * (points[j, 1] - points[i, 1])
            m += 1
    return m


@kernel()
def _moments(points: Array, n: int) -> tuple[float, float, float]:
    area = 0.0
    moment_u = 0.0
    moment_v = 0.0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        cross = points[i, 0] * points[j, 1] - points[j, 0] * points[i, 1]
        area += cross
        moment_u += cross * (points[i, 0] + points[j, 0])
        moment_v += cross * (points[i, 1] + points[j, 1])
    return area / 2.0, moment_u / 6.0, moment_v / 6.0


@kernel()
def _add_polygon(
    polygon: Array,
    sign: float,
    u_edges: Array,
    v_edges: Array,
    area: Array,
    moment_u: Array,
    moment_v: Array,
) -> None:
    """Add area and moments of polygon ∩ cell to every cell; first strips along v, then cells."""
    n = polygon.shape[0]
    size = 4 * n + 16
    a = np.empty((size, 2))
    b = np.empty((size, 2))
    strip = np.empty((size, 2))
    for iy in range(v_edges.shape[0] - 1):
        m = _clip_half(polygon, n, a, 1, v_edges[iy], True)
        if m == 0:
            continue
        m_strip = _clip_half(a, m, strip, 1, v_edges[iy + 1], False)
        if m_strip == 0:
            continue
        for ix in range(u_edges.shape[0] - 1):
            m = _clip_half(strip, m_strip, b, 0, u_edges[ix], True)
            if m == 0:
                continue
            m = _clip_half(b, m, a, 0, u_edges[ix + 1], False)
            if m == 0:
                continue
            s, su, sv = _moments(a, m)
            area[iy, ix] += sign * s
            moment_u[iy, ix] += sign * su
            moment_v[iy, ix] += sign * sv


@dataclass(frozen=True)
class Grid:
    """Points that carry a face; cells first, massless points after them.

    Attributes
    ----------
    u, v : positions (n,) in the frame of the part [m]
    area : area (n,) of each point, zero after the first ``n_cells`` [m²]
    n_cells : number of cells [-]
    row, column : place (n_cells,) of each cell in the raster [-]
    u_edges, v_edges : edges of the raster (columns + 1,), (rows + 1,) [m]
    marks : first and last+1 index of every named run of massless points [-]
    """

    u: Array
    v: Array
    area: Array
    n_cells: int
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    u_edges: Array
    v_edges: Array
    marks: dict[str, tuple[int, int]]

    @property
    def points(self) -> Array:
        """Positions (n, 2) [m]."""
        return np.column_stack([self.u, self.v])

    @property
    def cell_size(self) -> float:
        """The longer side of a raster cell [m]."""
        return float(max(self.u_edges[1] - self.u_edges[0], self.v_edges[1] - self.v_edges[0]))

    def part(self, name: str) -> slice:
        """Slice of the massless points that were added under ``name``."""
        return slice(*self.marks[name])

    def as_map(self, values: Array) -> Array:
        """Raster (rows, columns), row 0 at the lowest v, of values (n,); NaN off the metal."""
        raster = np.full((self.v_edges.size - 1, self.u_edges.size - 1), np.nan)
        raster[self.row, self.column] = values[: self.n_cells]
        return raster


def raster_of(outline: Outline, cell: float) -> tuple[int, int]:
    """Columns and rows of the raster over the bounding box of a face, of cells no longer than ``cell`` [m].

    >>> raster_of(Outline.rectangular(0.2, 0.1), 0.03)
    (7, 4)
    """
    columns, rows = (max(1, int(np.ceil(side / cell - 1e-9))) for side in (outline.length, outline.width))
    return columns, rows


def make_grid(
    outline: Outline,
    *,
    cell: float | None = None,
    cells: int = 3000,
    follow: dict[str, Array] | None = None,
    rim: bool = True,
) -> Grid:
    """Raster a face.

    Parameters
    ----------
    outline : the face, its bounding box about the origin [m]
    cell : side of a cell [m]; the raster is fitted to the bounding box, so sides may be a
        little smaller.  Without it the side follows from ``cells``.
    cells : about how many cells the metal is to have [-]
    follow : named runs of massless points, each (k, 2) [m], kept in order
    rim : follow the rim and the edges of the openings, under the names "rim" and "openings"

    Raises
    ------
    ValueError : if the outline leaves no metal
    """
    if cell is None:
        cell = float(np.sqrt(outline.area / cells))
    columns, rows = raster_of(outline, cell)
    low, high = outline.rim.min(axis=0), outline.rim.max(axis=0)
    u_edges = np.linspace(low[0], high[0], columns + 1)
    v_edges = np.linspace(low[1], high[1], rows + 1)
    area = np.zeros((rows, columns))
    moment_u, moment_v = np.zeros_like(area), np.zeros_like(area)
    _add_polygon(outline.rim, 1.0, u_edges, v_edges, area, moment_u, moment_v)
    for opening in outline.openings:
        _add_polygon(opening, -1.0, u_edges, v_edges, area, moment_u, moment_v)
    full = (u_edges[1] - u_edges[0]) * (v_edges[1] - v_edges[0])
    row, column = np.nonzero(area > SMALLEST_SHARE * full)
    if row.size == 0:
        raise ValueError("the outline leaves no metal: its openings cover the whole face")
    s = area[row, column]
    u = moment_u[row, column] / s
    v = moment_v[row, column] / s
    # Slivers dropped above go back in as a common factor of some 1 ± 1e-5.
    s = s * (outline.area / s.sum())
    runs: dict[str, Array] = {}
    if rim:
        runs["rim"] = outline.rim_points(cell)
        runs["openings"] = outline.opening_points(2.0 * cell)
    runs.update(follow or {})
    marks, at = {}, s.size
    for name, run in runs.items():
        marks[name] = (at, at + len(run))
        at += len(run)
    extra = np.vstack([r.reshape(-1, 2) for r in runs.values()]) if runs else np.empty((0, 2))
    return Grid(
        u=np.concatenate([u, extra[:, 0]]),
        v=np.concatenate([v, extra[:, 1]]),
        area=np.concatenate([s, np.zeros(len(extra))]),
        n_cells=s.size,
        row=row,
        column=column,
        u_edges=u_edges,
        v_edges=v_edges,
        marks=marks,
    )
