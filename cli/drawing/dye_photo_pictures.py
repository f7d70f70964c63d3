"""The photo straightened, beside the map of what was seen in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, PathPatch

from handlap.cli.drawing import colours
from handlap.cli.drawing.face_map import outline_shape, rimmed, set_title, sheet_of_faces
from handlap.cli.drawing.pictures import STYLE, png
from handlap.sim.common.spoken import per_length

if TYPE_CHECKING:
    from handlap.sim.bench.dye_photo import DyePhoto


def dye_photo_pictures(seen: DyePhoto) -> dict[str, bytes]:
    """PNG by name."""
    with matplotlib.rc_context(STYLE):
        return {"seen.png": png(dye_photo_figure(seen))}


def dye_photo_figure(seen: DyePhoto) -> Figure:
    """Left as the camera saw it, with the outline over it; right what was made of it, cell by cell."""
    figure, (photo, map_) = sheet_of_faces(seen.outline, 2)
    straight = seen.straight
    half = 0.5 * straight.spacing
    left, right = per_length() * (straight.u[0] - half), per_length() * (straight.u[-1] + half)
    near, far = per_length() * (straight.v[-1] - half), per_length() * (straight.v[0] + half)
    shown = np.where(np.isfinite(straight.colours), straight.colours, 1.0)
    photo.imshow(
        np.clip(shown, 0.0, 1.0), extent=(left, right, near, far), interpolation="bilinear", aspect="equal"
    )
    set_title(photo, "The photo, straightened")
    _outlined(photo, seen, over=True)

    long, wide = per_length() * seen.outline.length / 2.0, per_length() * seen.outline.width / 2.0
    state = np.where(seen.dyed, 1.0, np.where(seen.bare, 0.0, 0.5))
    tones = np.array([colours.DYE(x) for x in state.ravel()]).reshape(*state.shape, 4)
    drawn = map_.imshow(tones, extent=(-long, long, -wide, wide), interpolation="nearest", aspect="equal")
    drawn.set_clip_path(PathPatch(outline_shape(seen.outline), transform=map_.transData))
    _unsure(map_, seen)
    set_title(map_, "What it was taken for")
    _outlined(map_, seen, over=False)
    patches = [
        Patch(facecolor=colours.DYE(1.0), edgecolor=colours.FAINT, label="dyed"),
        Patch(facecolor=colours.DYE(0.0), edgecolor=colours.FAINT, label="bare"),
        Patch(facecolor=colours.GROUND, edgecolor=colours.INK, hatch="////", label="cannot tell"),
    ]
    figure.legend(handles=patches, loc="outside lower center", ncols=3, frameon=False, fontsize=9)
    return figure


def _unsure(axes: Axes, seen: DyePhoto) -> None:
    """Hatch the cells of which it cannot be told: no colour says so to everybody."""
    rows, columns = seen.chance.shape
    u = per_length() * seen.outline.length * (np.arange(columns + 1) / columns - 0.5)
    v = per_length() * seen.outline.width * (0.5 - np.arange(rows + 1) / rows)
    clip = PathPatch(outline_shape(seen.outline), transform=axes.transData)
    for i, j in np.argwhere(~(seen.dyed | seen.bare)):
        if seen.metal[i, j] <= 0.0:
            continue
        cell = axes.fill_between(
            u[j : j + 2], v[i + 1], v[i], facecolor=colours.GROUND, edgecolor=colours.INK, hatch="////",
            linewidth=0.0,
        )  # fmt: skip
        cell.set_clip_path(clip)


def _outlined(axes: Axes, seen: DyePhoto, *, over: bool) -> None:
    line = PathPatch(outline_shape(seen.outline), facecolor="none", edgecolor=colours.INK, linewidth=1.0)
    if over:
        line.set_path_effects(rimmed(1.0))
    axes.add_patch(line)
    margin = 0.05 * per_length() * seen.outline.length
    axes.set_xlim(
        -per_length() * seen.outline.length / 2 - margin, per_length() * seen.outline.length / 2 + margin
    )
    axes.set_ylim(
        -per_length() * seen.outline.width / 2 - margin, per_length() * seen.outline.width / 2 + margin
    )
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(color=colours.FAINT, length=3)
