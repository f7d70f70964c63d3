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
from matplotlib.ticker import FixedFormatter, FixedLocator

from handlap.cli.drawing.colours import FAINT, GROUND, INK, line_over
from handlap.cli.drawing.sizes import PHONE, folded, narrow
from handlap.cli.reports.quantity import stated
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.spoken import length_unit, per_length

RIM = 2.4
"""White about a line that is drawn over a map, both sides together [pt]."""
INWARD = 0.93
"""Signs stand so far out of where they belong to, that they do not lie across the rim [-]."""
SMALL = 3.6
"""Maps narrower than this name their sides and have no scale [inch]."""
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
    return _spread(grid.as_map(values))


def _spread(raster: Array) -> Array:
    """A raster with the mean of their neighbours in the unknown cells that have any."""
    padded = np.pad(raster, 1, constant_values=np.nan)
    rows, columns = raster.shape
    around = np.stack(
        [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    )
    known = np.isfinite(around)
    count = known.sum(axis=0)
    mean = np.where(known, around, 0.0).sum(axis=0) / np.maximum(count, 1)
    return np.where(np.isfinite(raster), raster, np.where(count > 0, mean, np.nan))


def _past_the_rim(raster: Array) -> Array:
    """A raster with one row and column more at each side, carried on straight past the metal.

    Lines drawn through it run to the rim, and do not turn off there.
    """
    wide = np.pad(raster, 3, constant_values=np.nan)
    rows, columns = raster.shape[0] + 2, raster.shape[1] + 2

    def moved(down: int, across: int) -> Array:
        return wide[2 + down : 2 + down + rows, 2 + across : 2 + across + columns]

    own = moved(0, 0)
    ways = [(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1) if (i, j) != (0, 0)]
    straight = np.stack([2.0 * moved(i, j) - moved(2 * i, 2 * j) for i, j in ways])
    known = np.isfinite(straight)
    count = known.sum(axis=0)
    mean = np.where(known, straight, 0.0).sum(axis=0) / np.maximum(count, 1)
    return np.where(np.isfinite(own), own, np.where(count > 0, mean, np.nan))


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

    The lines run to the rim.  Returns what a colour bar needs.
    """
    raster = grid.as_map(values)
    u, v = (_beyond(0.5 * per_length() * (edges[1:] + edges[:-1])) for edges in (grid.u_edges, grid.v_edges))
    over = _past_the_rim(raster)
    shape = outline_shape(outline)
    clip = PathPatch(shape, facecolor="none", edgecolor="none", transform=axes.transData)
    axes.add_patch(clip)
    # From middle to middle of the cells: what was worked on few of them is no stepped face.
    mesh = axes.pcolormesh(
        u,
        v,
        np.ma.masked_invalid(_spread(_spread(over))),
        shading="gouraud",
        cmap=colours,
        vmin=low,
        vmax=high,
        rasterized=True,
    )
    mesh.set_clip_path(clip)
    if len(levels) and min(raster.shape) >= 2 and float(np.nanmax(raster)) > float(np.nanmin(raster)):
        lowest, highest = float(np.nanmin(raster)), float(np.nanmax(raster))
        # A line at the level of the rest of the face would follow its rounding errors.
        margin = 1e-3 * (highest - lowest)
        inside = [x for x in levels if lowest + margin < x < highest - margin]
        if inside:
            styles = ["dashed" if x < 0.0 else "solid" for x in inside]
            tones = [line_over(colours((x - low) / (high - low) if high > low else 0.5)) for x in inside]
            lines = axes.contour(
                u,
                v,
                np.ma.masked_invalid(over),
                levels=inside,
                colors=tones,
                linewidths=0.6,
                linestyles=styles,
            )
            lines.set_clip_path(clip)
    axes.add_patch(PathPatch(shape, facecolor="none", edgecolor=INK, linewidth=1.0, clip_on=False))
    _frame(axes, outline)
    return mesh


def _beyond(centres: Array) -> Array:
    """Centres of cells (k,) with one more at either end."""
    ends = 2.0 * centres[0] - centres[1], 2.0 * centres[-1] - centres[-2]
    return np.concatenate([[ends[0]], centres, [ends[1]]])


def mark_ends(axes: Axes, grid: Grid, values: Array, least: float = 0.0) -> None:
    """A plus where values (n,) are highest and a minus where they are lowest, for who sees no colours.

    Nothing where they differ by no more than ``least``, or where one of the two has not its sign.
    """
    cells = slice(0, grid.n_cells)
    low, high = float(values[cells].min()), float(values[cells].max())
    if high - low <= least:
        return
    for sign, at, there in (
        ("+", int(values[cells].argmax()), high > 0.0),
        ("−", int(values[cells].argmin()), low < 0.0),
    ):
        if there:
            spot = INWARD * per_length() * grid.u[at], INWARD * per_length() * grid.v[at]
            text = axes.text(*spot, sign, ha="center", va="center", fontsize=13, fontweight="bold")
            text.set_path_effects([withStroke(linewidth=3.0, foreground=GROUND)])


def step_words(levels: Sequence[float], unit: str) -> str:
    """What lies between two lines of a map.

    >>> step_words([-20.0, 0.0, 20.0], "µm"), step_words([5.0], "µm")
    ('a line every 20 µm', 'a line at 5 µm')
    """
    if len(levels) < 2:
        return f"a line at {stated(levels[0])} {unit}" if levels else ""
    return f"a line every {stated(round(min(np.diff(sorted(levels))), 9))} {unit}"


def _frame(axes: Axes, outline: Outline) -> None:
    margin = 0.012 * per_length() * max(outline.length, outline.width)
    half_u, half_v = 0.5 * per_length() * outline.length, 0.5 * per_length() * outline.width
    axes.set_xlim(-half_u - margin, half_u + margin)
    axes.set_ylim(-half_v - margin, half_v + margin)
    axes.set_aspect("equal")
    if not isinstance(axes.xaxis.get_major_locator(), FixedLocator):
        few = 5 if outline.length < 3.0 * outline.width else 3
        axes.locator_params(axis="x", nbins=7, steps=[1, 2, 5, 10])
        axes.locator_params(axis="y", nbins=few, steps=[1, 2, 5, 10])
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
    outline: Outline, count: int, *, across: int | None = None, size: float = 4.6, lines: int = 1
) -> tuple[Figure, list[Axes]]:
    """A figure with ``count`` maps of a face, arranged by its proportions; sides named on each.

    Parameters
    ----------
    across : maps side by side; by default two, or one for long narrow faces; one on a narrow screen
    size : width of a map that stands beside another [inch]
    lines : of the title over each map
    """
    long = outline.length / outline.width
    if across is None:
        across = 1 if long > NARROW else 2
    across = 1 if narrow() else max(1, min(across, count))
    down = -(-count // across)
    wide = PHONE - 1.1 if narrow() else size if across > 1 else 1.6 * size
    tall = max(0.75, min(wide, wide / long))
    figure = Figure(
        figsize=(across * wide + (1.1 if narrow() else 1.3), down * (tall + 0.62 + 0.17 * lines) + 0.9),
        facecolor=GROUND,
        layout="constrained",
    )
    grid = figure.subplots(down, across, squeeze=False, sharex=True, sharey=True)
    all_axes = list(grid.ravel())
    for spare in all_axes[count:]:
        spare.set_visible(False)
    small = count > 2 or wide < SMALL
    for axes in all_axes[:count]:
        if small:
            _name_sides(axes, outline)
        else:
            axes.set_xlabel(f"left  ←  u, {length_unit()}  →  right")
            axes.set_ylabel(f"near  ←  v, {length_unit()}  →  far")
    return figure, all_axes[:count]


def _name_sides(axes: Axes, outline: Outline) -> None:
    """Sides in words in place of a scale, for maps too small to hold both."""
    half_u, half_v = 0.5 * per_length() * outline.length, 0.5 * per_length() * outline.width
    axes.xaxis.set_major_locator(FixedLocator([-half_u, half_u]))
    axes.yaxis.set_major_locator(FixedLocator([-half_v, half_v]))
    axes.xaxis.set_major_formatter(FixedFormatter(["left", "right"]))
    axes.yaxis.set_major_formatter(FixedFormatter(["near", "far"]))
    axes.tick_params(labelbottom=True, labelleft=True, labelsize=8, length=0)
    left, right = axes.get_xticklabels()
    left.set_horizontalalignment("left")
    right.set_horizontalalignment("right")
    near, far = axes.get_yticklabels()
    near.set_verticalalignment("bottom")
    far.set_verticalalignment("top")


def room(figure: Figure) -> float:
    """Width of a figure that words may take [inch]."""
    return float(figure.get_figwidth()) - 0.3


def set_title(axes: Axes, text: str, size: float = 11.0, wide: float | None = None) -> None:
    """A title over a panel, folded on a narrow screen, or wherever it is wider than ``wide`` [inch]."""
    if narrow():
        wide = PHONE - 1.25
    axes.set_title(text if wide is None else folded(text, wide, size), fontsize=size)


def finish_bar(bar: Any, label: str) -> None:
    """Label a colour bar and take its frame away."""
    bar.set_label(label)
    bar.outline.set_visible(False)
    bar.ax.tick_params(color=FAINT, length=3)
