"""Marks and lines: one row for each thing compared, one column for each figure, zero drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.sizes import PHONE, folded, narrow
from handlap.sim.job.results import Band

ROW = 0.34
"""Height of a row [inch]."""
NAMES = 2.5
"""Room for the names of rows [inch]."""
ROOM = 0.12
"""Free at either end of a column, over its span [-]."""


@dataclass(frozen=True)
class MarkLine:
    """A middle with its 90 % line, in the unit of its column; ``sure``: it can be told from zero."""

    band: Band
    sure: bool


@dataclass(frozen=True)
class Column:
    """One figure: its head, and a mark for every row, or None where there is none."""

    head: str
    marks: Sequence[MarkLine | None]


def mark_line_figure(
    rows: Sequence[str], columns: Sequence[Column], *, title: str, note: str = "", strong: Sequence[int] = ()
) -> Figure:
    """A chart of rows × columns; on a narrow screen one column under the other.

    Parameters
    ----------
    rows : names, the first at the top
    strong : rows whose names are set bold
    """
    across = 1 if narrow() else len(columns)
    down = len(columns) if narrow() else 1
    width = PHONE if narrow() else NAMES + max(1.5, min(3.2, 8.0 / len(columns))) * len(columns)
    text = folded(title, width - 0.2)
    below = folded(note, width - 0.2, 9.0)
    tall = down * (ROW * len(rows) + 0.75) + 0.2 * (text.count("\n") + below.count("\n") + 3)
    figure = Figure(figsize=(width, tall), facecolor=colours.GROUND, layout="constrained")
    panels: list[Axes] = list(figure.subplots(down, across, squeeze=False).ravel())
    for k, (axes, column) in enumerate(zip(panels, columns, strict=True)):
        _column(axes, column)
        names = [folded(printable(name), 1.5 if narrow() else NAMES - 0.3, 9.0) for name in rows]
        axes.set_yticks(range(len(rows)), names if k == 0 or narrow() else [""] * len(rows), fontsize=9)
        for i in strong:
            axes.get_yticklabels()[i].set_fontweight("bold")
        axes.set_title(column.head, fontsize=9.5)
    figure.suptitle(text, x=0.01, ha="left", fontsize=10.5)
    if below:
        figure.supxlabel(below, x=0.01, ha="left", fontsize=9)
    return figure


def _column(axes: Axes, column: Column) -> None:
    """One panel: zero, and every row's mark and line."""
    known = [mark.band for mark in column.marks if mark is not None]
    low = min([0.0, *(band.p05 for band in known)])
    high = max([0.0, *(band.p95 for band in known)])
    spare = ROOM * ((high - low) or 1.0)
    axes.set_xlim(low - spare, high + spare)
    axes.set_ylim(len(column.marks) - 0.4, -0.6)
    axes.axvline(0.0, color=colours.INK, lw=1.2, zorder=1)
    axes.grid(axis="x", color=colours.RULE, lw=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=8)
    axes.locator_params(axis="x", nbins=4)
    for row, mark in enumerate(column.marks):
        if mark is None:
            continue
        colour = colours.FLATNESS if mark.sure else colours.FAINT
        axes.plot([mark.band.p05, mark.band.p95], [row, row], color=colour, lw=2.4, zorder=2)
        axes.plot(
            [mark.band.p50], [row], "o", ms=7.5, mew=1.6, mec=colour,
            mfc=colour if mark.sure else colours.GROUND, zorder=3, clip_on=False,
        )  # fmt: skip
