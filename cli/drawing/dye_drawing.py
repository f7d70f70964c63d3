"""The dye at every look, as it is found and as it is put on anew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from handlap.cli.drawing import colours
from handlap.cli.drawing.face_map import draw_face, finish_bar, set_title, sheet_of_faces
from handlap.cli.reports.quantity import share
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline

MOST_DYE = 12
"""Maps in one picture."""
DYE_STATES = ("gone", "fading", "full")
"""What stands at the ends and the middle of the scale of the dye."""


class Panel(NamedTuple):
    """The dye at a look: title, map (cells,) of 1 full, ½ fading, 0 gone; whether it is put on anew there."""

    title: str
    tone: Array
    renewed: bool


def _dye_maps(panels: Sequence[Panel]) -> list[tuple[str, Array]]:
    """Titles and maps of the dye, up to a greatest number, the first and the last look among them."""
    drawn: list[tuple[str, Array]] = []
    for shown in range(min(MOST_DYE, len(panels)), 0, -1):
        picks = [round(i * (len(panels) - 1) / max(1, shown - 1)) for i in range(shown)]
        drawn = []
        for k, i in enumerate(picks):
            panel = panels[i]
            # Dye put on at the last look shown would be of strokes that nobody sees.
            renewed = panel.renewed and k + 1 < len(picks)
            when, shares = panel.title.split(NEW_LINE, maxsplit=1)
            drawn.append((f"{when}{AS_FOUND if renewed else ''}\n{shares}", panel.tone))
            if renewed:
                drawn.append((f"{when}{ANEW}", np.ones_like(panel.tone)))
        if len(drawn) <= MOST_DYE:
            break
    return drawn


def dye_figure(outline: Outline, grid: Grid, panels: Sequence[Panel], label: str) -> Figure:
    """The dye at each look (all or some of them), as it is found; and after it where it is put on anew."""
    drawn = _dye_maps(panels)
    across = 2 if outline.length > 3.0 * outline.width else 4 if len(drawn) > 4 else 2
    size = 4.2 if across == 2 else 2.7
    figure, all_axes = sheet_of_faces(outline, len(drawn), across=across, size=size, lines=2)
    mesh: Any = None
    for axes, (title, map_) in zip(all_axes, drawn, strict=True):
        mesh = draw_face(axes, outline, grid, map_, colours=colours.DYE, low=0.0, high=1.0)
        set_title(axes, title, 9.0, size - 0.1)
    key = sorted({float(v) for _, map_ in drawn for v in np.unique(map_)}, reverse=True)
    if len(key) <= len(DYE_STATES) and set(key) <= {0.0, 0.5, 1.0}:
        swatches(figure, key, label)
    else:
        bar = figure.colorbar(mesh, ax=all_axes, aspect=35, shrink=0.8, pad=0.02, ticks=[0.0, 0.5, 1.0])
        finish_bar(bar, label)
        bar.ax.set_yticklabels(DYE_STATES)
    return figure


NEW_LINE = "\n"
AS_FOUND = ": as you find it"
ANEW = ": dyed again\nfull all over"


def swatches(figure: Figure, key: Sequence[float], label: str) -> None:
    """A key of two or three patches where the dye is in as many states and in nothing between."""
    names = dict(zip((0.0, 0.5, 1.0), DYE_STATES, strict=True))
    patches = [
        Patch(facecolor=colours.DYE(state), edgecolor=colours.FAINT, label=f"{label} {names[state]}")
        for state in key
    ]
    figure.legend(handles=patches, loc="outside lower center", ncols=len(patches), frameon=False, fontsize=9)


def dye_title(when: str, faded: float, gone: float) -> str:
    """Over a map of the dye: when it is, and the shares of the face fading or gone, and gone."""
    return f"{when}\n{share(faded)} fading or gone, {share(gone)} gone"
