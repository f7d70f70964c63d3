"""The picture of a stint at its end: the true face before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import LEAST_SCALE
from handlap.cli.drawing.face_map import (
    draw_face,
    finish_bar,
    levels_between,
    mark_ends,
    room,
    set_title,
    sheet_of_faces,
    step_words,
)
from handlap.cli.drawing.pictures import HEIGHT_WORDS, STYLE, levelled, png
from handlap.cli.drawing.sizes import folded
from handlap.cli.reports.quantity import number
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.teaching.stint import StintRig
    from handlap.sim.teaching.stint_debrief import Debrief


def stint_pictures(rig: StintRig, found: Debrief) -> dict[str, bytes]:
    """PNG by name: faces."""
    with matplotlib.rc_context(STYLE):
        return {"faces.png": png(faces_figure(rig, found))}


def faces_figure(rig: StintRig, found: Debrief) -> Figure:
    """The face before and after on one scale of heights."""
    outline, grid = rig.exercise.scenario.part.outline, rig.crew.rig.grid
    cells = slice(0, grid.n_cells)
    both = [per_height() * levelled(grid, face)[cells] for face in (found.first, found.last)]
    half = max(LEAST_SCALE, *(float(np.abs(face).max()) for face in both))
    levels = levels_between(-half, half)
    figure, places = sheet_of_faces(outline, 2, across=1)
    mesh: Any = None
    for axes, heights, title in zip(places, both, ("Before", "After"), strict=True):
        mesh = draw_face(
            axes, outline, grid, heights, colours=colours.HEIGHT, low=-half, high=half, levels=levels
        )
        mark_ends(axes, grid, heights, LEAST_SCALE)
        low, high = number(float(heights.min()), 2), number(float(heights.max()), 2)
        set_title(axes, f"{title}: from {low} to {high} {height_unit()}")
    bar = figure.colorbar(mesh, ax=places, aspect=30, shrink=0.9, pad=0.02)
    finish_bar(bar, f"height over the best plane, {height_unit()}\n{step_words(levels, height_unit())}")
    figure.supxlabel(folded(HEIGHT_WORDS, room(figure), 9.0), fontsize=9)
    return figure
