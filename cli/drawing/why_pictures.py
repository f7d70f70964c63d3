"""The pictures of the causes: marks and lines for each of them, maps of the whole and the largest, as PNG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
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
from handlap.cli.drawing.mark_lines import Column, MarkLine, mark_line_figure
from handlap.cli.drawing.pictures import HEIGHT_WORDS, STYLE, levelled, png
from handlap.cli.drawing.sizes import folded
from handlap.cli.reports.quantity import height
from handlap.cli.reports.why_report import CAUSE_WORDS, NAMES, SIGNS, ranked_causes
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.job.results import Band
from handlap.sim.planning.fineness import PLANNED

if TYPE_CHECKING:
    from handlap.sim.comparing.why import Why

COLUMNS = ("crown_along", "crown_across", "twist", "taper_along", "taper_across")
"""Parts of the error, one panel each."""


def why_pictures(found: Why) -> dict[str, bytes]:
    """PNG by name: causes, and maps of the whole and of the largest cause."""
    with matplotlib.rc_context(STYLE):
        return {name: png(figure) for name, figure in why_figures(found).items()}


def why_figures(found: Why) -> dict[str, Figure]:
    """The pictures of the causes by the names of their files."""
    return {"causes.png": causes_figure(found), "maps.png": maps_figure(found)}


def causes_figure(found: Why) -> Figure:
    """One row a cause, the largest first, one column a part of the error: what each alone adds to it."""
    ranked = ranked_causes(found)
    rows = ["all of it", *(CAUSE_WORDS[cause.name] for cause in ranked)]
    columns = []
    for name in COLUMNS:
        bands = [found.total[name], *(cause.alone[name] for cause in ranked)]
        columns.append(Column(f"{NAMES[name]}, {height_unit()}", [_mark(band) for band in bands]))
    least = height(PLANNED.tolerance, 2)
    title = (
        "What each cause alone adds: the middle and 90 of 100 cases, the largest first. Full mark: the line "
        f"leaves nought out, and the middle is over the {least} that computing may err by. Each column "
        "has its own scale."
    )
    return mark_line_figure(rows, columns, title=title, note=SIGNS, strong=(0,))


def _mark(band: Band) -> MarkLine:
    clear = band.p05 > 0.0 or band.p95 < 0.0
    return MarkLine(band.scaled(per_height()), clear and abs(band.p50) >= PLANNED.tolerance)


def maps_figure(found: Why) -> Figure:
    """The face that is left, and what the largest cause adds to it, both less their best planes."""
    outline, grid = found.scenario.part.outline, found.grid
    largest = ranked_causes(found)[0] if found.causes else None
    maps = {"All causes: the face that is left": found.picture}
    if largest is not None:
        maps[f"Added on top of the rest: {CAUSE_WORDS[largest.name]}"] = largest.picture
    flat = {name: per_height() * levelled(grid, heights) for name, heights in maps.items()}
    half = max(LEAST_SCALE, *(float(abs(m).max()) for m in flat.values()))
    # A line at nought would only trace the noise of a cause that does next to nothing.
    levels = [level for level in levels_between(-half, half) if level]
    figure, panels = sheet_of_faces(outline, len(flat), size=4.4)
    mesh: Any = None
    for axes, (name, heights) in zip(panels, flat.items(), strict=True):
        mesh = draw_face(
            axes, outline, grid, heights[: grid.n_cells], colours=colours.HEIGHT, low=-half, high=half,
            levels=levels,
        )  # fmt: skip
        mark_ends(axes, grid, heights, LEAST_SCALE)
        set_title(axes, name, 9.5, 4.3)
    step = levels_between(-half, half)
    words = f"height, {height_unit()}\n{step_words(step, height_unit())}"
    finish_bar(figure.colorbar(mesh, ax=panels, aspect=30, shrink=0.9, pad=0.02), words)
    note = f"{HEIGHT_WORDS} Each map is the mean of all cases."
    figure.supxlabel(folded(note, room(figure), 9.0), fontsize=9)
    return figure
