"""Pictures of one face: a map of some quantity inside its outline, on axes in the unit of the job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Colormap
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Shape
from matplotlib.patheffects import AbstractPathEffect, withStroke

from handlap.cli.drawing.colours import FAINT, GROUND, INK, line_over
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.spoken import length_unit, per_length

RIM = 2.4
"""White about a line that is drawn over a map, both sides together [pt]."""
NARROW = 1.9
"""Faces longer than this many widths are set one under the other."""


def outline_shape(outline: Outline) -> Shape:
    """Rim and openings as one path [mm]."""
    points, codes = [], []
    # Openings run the other way round, so that a clip leaves them out.
    for polygon in (outline.rim, *(opening[::-1] for opening in outline.openings)):
        ring = np.vstack([polygon, polygon[:1]]) * per_length()
        points.append(ring)
        codes += [Shape.MOVETO, *[Shape.LINETO] * (len(ring) - 2), Shape.CLOSEPOLY]
    return Shape(np.vstack(points), codes)


def rimmed(width: float) -> list[AbstractPathEffect]:
    """A rim of paper white about a line of that width [pt], so that it shows on any map."""
    return [withStroke(linewidth=width + RIM, foreground=GROUND)]


def spread_to_raster(grid: Grid, values: Array) -> Array:
    """Raster (rows, columns) of values (n,), carried one cell past the metal for a clean edge."""
    raster = grid.as_map(values)
    padded = np.pad(raster, 1, constant_values=np.nan)
    rows, columns = raster.shape
    around = np.stack(
        [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    )
    known = np.isfinite(around)
    count = known.sum(axis=0)
    mean = np.where(known, around, 0.0).sum(axis=0) / np.maximum(count, 1)
    return np.where(np.isfinite(raster), raster, np.where(count > 0, mean, np.nan))


def draw_face(
    axes: Axes,
    outline: Outline,
    grid: Grid,
    values: Array,
    *,
    colours: Colormap,
    low: float,
    high: float,
    levels: Sequence[float] = (),
) -> Any:
    """Draw values (n,) on a face; contour lines at ``levels``, broken below zero, white on dark.

    Returns what a colour bar needs.
    """
    raster = np.ma.masked_invalid(spread_to_raster(grid, values))
    shape = outline_shape(outline)
    clip = PathPatch(shape, facecolor="none", edgecolor="none", transform=axes.transData)
    axes.add_patch(clip)
    mesh = axes.pcolormesh(
        grid.u_edges * per_length(),
        grid.v_edges * per_length(),
        raster,
        cmap=colours,
        vmin=low,
        vmax=high,
        rasterized=True,
    )
    mesh.set_clip_path(clip)
    if len(levels) and min(raster.shape) >= 2 and float(raster.max()) > float(raster.min()):
        u = 0.5 * per_length() * (grid.u_edges[1:] + grid.u_edges[:-1])
        v = 0.5 * per_length() * (grid.v_edges[1:] + grid.v_edges[:-1])
        lowest, highest = float(raster.min()), float(raster.max())
        # A line at the level of the rest of the face would follow its rounding errors.
        margin = 1e-3 * (highest - lowest)
        inside = [x for x in levels if lowest + margin < x < highest - margin]
        if inside:
            styles = ["dashed" if x < 0.0 else "solid" for x in inside]
            tones = [line_over(colours((x - low) / (high - low) if high > low else 0.5)) for x in inside]
            lines = axes.contour(u, v, raster, levels=inside, colors=tones, linewidths=0.6, linestyles=styles)
            lines.set_clip_path(clip)
    axes.add_patch(PathPatch(shape, facecolor="none", edgecolor=INK, linewidth=1.0, clip_on=False))
    _frame(axes, outline)
    return mesh


def _frame(axes: Axes, outline: Outline) -> None:
    margin = 0.012 * per_length() * max(outline.length, outline.width)
    half_u, half_v = 0.5 * per_length() * outline.length, 0.5 * per_length() * outline.width
    axes.set_xlim(-half_u - margin, half_u + margin)
    axes.set_ylim(-half_v - margin, half_v + margin)
    axes.set_aspect("equal")
    axes.locator_params(axis="x", nbins=7, steps=[1, 2, 5, 10])
    axes.locator_params(axis="y", nbins=5 if outline.length < 3.0 * outline.width else 3, steps=[1, 2, 5, 10])
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(color=FAINT, length=3)


def levels_between(low: float, high: float, about: int = 8) -> list[float]:
    """Round levels for contour lines, some ``about`` of them.

    >>> levels_between(-40.0, 60.0, 5)
    [-40.0, -20.0, 0.0, 20.0, 40.0, 60.0]
    """
    from matplotlib.ticker import MaxNLocator

    ticks = MaxNLocator(nbins=about, steps=[1, 2, 5, 10]).tick_values(low, high)
    return [float(t) for t in ticks if low - 1e-9 <= t <= high + 1e-9]


def sheet_of_faces(
    outline: Outline, count: int, *, across: int | None = None, size: float = 4.6
) -> tuple[Figure, list[Axes]]:
    """A figure with ``count`` maps of a face, arranged by its proportions.

    Parameters
    ----------
    across : maps side by side; by default two, or one for long narrow faces
    size : width of a map that stands beside another [inch]
    """
    long = outline.length / outline.width
    if across is None:
        across = 1 if long > NARROW else 2
    across = max(1, min(across, count))
    down = -(-count // across)
    wide = size if across > 1 else 1.6 * size
    tall = max(0.75, wide / long)
    figure = Figure(
        figsize=(across * wide + 1.3, down * (tall + 0.55) + 0.5), facecolor=GROUND, layout="constrained"
    )
    grid = figure.subplots(down, across, squeeze=False, sharex=True, sharey=True)
    all_axes = list(grid.ravel())
    for spare in all_axes[count:]:
        spare.set_visible(False)
    for axes in grid[-1]:
        axes.set_xlabel(f"u, {length_unit()}")
    if count < len(all_axes):
        for axes in all_axes[count - across : count]:
            axes.tick_params(labelbottom=True)
            axes.set_xlabel(f"u, {length_unit()}")
    for row in grid:
        row[0].set_ylabel(f"v, {length_unit()}")
    return figure, all_axes[:count]
