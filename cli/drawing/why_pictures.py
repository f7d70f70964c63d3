"""The picture of the causes, one map each on one scale, as PNG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.face_map import draw_face, levels_between, sheet_of_faces
from handlap.cli.drawing.pictures import LEAST_SCALE, STYLE, finish_bar, levelled, png
from handlap.cli.reports.quantity import number
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.comparing.why import Why


def why_pictures(found: Why) -> dict[str, bytes]:
    """PNG by name: causes."""
    with matplotlib.rc_context(STYLE):
        return {"causes.png": png(causes_figure(found))}


def causes_figure(found: Why) -> Figure:
    """The face that is left, and what each cause adds to it, all less their best planes."""
    outline, grid = found.scenario.part.outline, found.grid
    maps = {"all causes": found.picture} | {cause.name: cause.picture for cause in found.causes}
    flat = {name: per_height() * levelled(grid, heights) for name, heights in maps.items()}
    half = max(LEAST_SCALE, *(float(abs(m).max()) for m in flat.values()))
    # A line at nought would only trace the noise of causes that do next to nothing.
    levels = [level for level in levels_between(-half, half) if level]
    across = 2 if outline.length > 3.0 * outline.width or len(flat) <= 4 else 4
    figure, panels = sheet_of_faces(outline, len(flat), across=across, size=3.2 if across == 4 else 4.4)
    mesh: Any = None
    for axes, (name, heights) in zip(panels, flat.items(), strict=True):
        mesh = draw_face(
            axes, outline, grid, heights[: grid.n_cells], colours=colours.HEIGHT, low=-half, high=half,
            levels=levels,
        )  # fmt: skip
        axes.set_title(
            f"{name}\n{number(float(heights.min()), 2)} to {number(float(heights.max()), 2)} {height_unit()}",
            fontsize=9,
        )
    finish_bar(figure.colorbar(mesh, ax=panels, aspect=35, shrink=0.8, pad=0.02), f"height, {height_unit()}")
    return figure
