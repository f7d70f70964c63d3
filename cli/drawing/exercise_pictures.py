"""The picture of an exercise once it is opened: the true face, and what the readings made of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
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
from handlap.sim.common.spoken import height_unit, per_height, per_length

if TYPE_CHECKING:
    from handlap.sim.teaching.exercise_marks import Marking


def exercise_pictures(found: Marking) -> dict[str, bytes]:
    """PNG by name: truth."""
    with matplotlib.rc_context(STYLE):
        return {"truth.png": png(truth_figure(found))}


def truth_figure(found: Marking) -> Figure:
    """The true face above, the survey's middle face below, on one scale; slips are crossed."""
    survey, exercise = found.found.survey, found.exercise
    outline, grid = exercise.scenario.part.outline, survey.grid
    cells = slice(0, grid.n_cells)
    true = per_height() * levelled(grid, exercise.face.heights_at(grid.points))[cells]
    read = per_height() * levelled(grid, survey.mean_map)[cells]
    half = max(LEAST_SCALE, float(np.abs(true).max()), float(np.abs(read).max()))
    levels = levels_between(-half, half)
    figure, both = sheet_of_faces(outline, 2, across=1)
    mesh: Any = None
    for axes, heights, title in zip(
        both, (true, read), ("The true face", "What the readings say"), strict=True
    ):
        mesh = draw_face(
            axes, outline, grid, heights, colours=colours.HEIGHT, low=-half, high=half, levels=levels
        )
        low, high = number(float(heights.min()), 2), number(float(heights.max()), 2)
        mark_ends(axes, grid, heights, LEAST_SCALE)
        set_title(axes, f"{title}: from {low} to {high} {height_unit()}")
    _stations(both[0], found)
    bar = figure.colorbar(mesh, ax=both, aspect=30, shrink=0.9, pad=0.02)
    finish_bar(bar, f"height over the best plane, {height_unit()}\n{step_words(levels, height_unit())}")
    note = " Crosses: written down wrong." if exercise.slips else ""
    figure.supxlabel(folded(f"{HEIGHT_WORDS}{note}", room(figure), 9.0), fontsize=9)
    return figure


def _stations(axes: Axes, found: Marking) -> None:
    wrong = {slip.label for slip in found.exercise.slips}
    for line in found.exercise.task.lines:
        for i, (u, v) in enumerate(per_length() * line.places):
            bad = line.label(i) in wrong
            look: dict[str, Any] = (
                {"marker": "X", "ms": 9, "mfc": colours.MARK, "mec": colours.GROUND}
                if bad
                else {"marker": "o", "ms": 3.5, "mfc": colours.GROUND, "mec": colours.INK}
            )
            axes.plot(u, v, mew=0.8, clip_on=False, **look)
