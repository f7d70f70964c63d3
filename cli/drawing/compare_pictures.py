"""The pictures of a comparison of ways, as PNG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DOTTED, LEAST_SCALE
from handlap.cli.drawing.face_map import (
    draw_face,
    finish_bar,
    levels_between,
    room,
    set_title,
    sheet_of_faces,
    step_words,
)
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.mark_lines import Column, MarkLine, mark_line_figure
from handlap.cli.drawing.pictures import STYLE, png
from handlap.cli.drawing.sizes import folded, narrow, wide
from handlap.cli.reports.compare_differences import COLUMN_NAMES, difference_from, differing, same_words
from handlap.cli.reports.quantity import counted, quantity
from handlap.cli.reports.wording import FINEST, microns
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.job.results import Band

if TYPE_CHECKING:
    from handlap.sim.comparing.compare import Comparison
    from handlap.sim.comparing.turn_interval import TurnCurve

LONG_NAME = 30
MOST_MAPS = 4


def compare_pictures(found: Comparison) -> dict[str, bytes]:
    """PNG by name: ways, removed, and turns where they were tried."""
    with matplotlib.rc_context(STYLE):
        return {name: png(figure) for name, figure in compare_figures(found).items()}


def compare_figures(found: Comparison) -> dict[str, Figure]:
    """The pictures of a comparison by the names of their files."""
    pictures = {"removed.png": removed_figure(found)}
    if len(found.order.places) > 1:
        pictures["ways.png"] = ways_figure(found)
    if found.turns is not None:
        pictures["turns.png"] = turns_figure(found.turns, found.scenario.part.limit_by)
    return pictures


def _short(place: int, name: str) -> str:
    return printable(f"{place} {name if len(name) <= LONG_NAME else name[: LONG_NAME - 1] + '…'}")


def ways_figure(found: Comparison) -> Figure:
    """One row a way, one column a figure: what each way has more or less of than the first.

    Figures in which no way differs from the first are left out and named in a sentence.
    """
    first, *others = found.order.places
    drawn = differing(found)
    rows = [_short(place, found.results[i].way.name) for place, i in enumerate(found.order.places, 1)]
    columns = []
    for name in drawn or ("minutes",):
        factor = _factor(name)
        marks: list[MarkLine | None] = [MarkLine(Band(0.0, 0.0, 0.0), True)]
        for i in others:
            d = difference_from(found, i, name)
            marks.append(MarkLine(d.band.scaled(factor), d.size != "cannot tell"))
        columns.append(Column(_head(found, first, name), marks))
    title = (
        f"What each way has more (right) or less (left) than the first, {found.results[first].way.name}: "
        "the middle and 90 of 100 cases of the difference, in the same hands on the same face."
    )
    note = f"Full mark: a difference that can be told, if only on average; open: none. {same_words(found)}"
    return mark_line_figure(rows, columns, title=title, note=note, strong=(0,))


def _factor(name: str) -> float:
    """What a figure is multiplied by to be drawn: minutes are minutes, all else is a height."""
    return 1.0 if name == "minutes" else per_height()


def _head(found: Comparison, first: int, name: str) -> str:
    """A figure's name and unit, and what the first way itself comes to."""
    own = found.results[first].bands[name].scaled(_factor(name))
    text = quantity(own, whole=True) if name == "minutes" else quantity(own, finest=FINEST)
    return f"{COLUMN_NAMES[name]}{'' if name == 'minutes' else ', ' + height_unit()}\nfirst: {text}"


def removed_figure(found: Comparison) -> Figure:
    """Depth removed, the mean over all members, on one scale: of the first way, and of the ways that take
    clearly more or less off at the deepest, or another slant, of which the first few are shown."""
    outline, grid = found.scenario.part.outline, found.grid
    first, *others = found.order.places
    apart = [
        i
        for i in others
        if any(difference_from(found, i, name).size == "clear" for name in ("greatest_depth", "taper"))
    ]
    shown = [first, *apart[: MOST_MAPS - 1]]
    places = {i: place for place, i in enumerate(found.order.places, 1)}
    maps = [per_height() * np.asarray(found.results[i].removed) for i in shown]
    low, high = min(float(m.min()) for m in maps), max(float(m.max()) for m in maps)
    high = max(high, low + LEAST_SCALE)
    levels = levels_between(low, high)
    figure, panels = sheet_of_faces(outline, len(shown), size=4.4, lines=2)
    mesh: Any = None
    for axes, depth, i in zip(panels, maps, shown, strict=True):
        mesh = draw_face(
            axes,
            outline,
            grid,
            depth[: grid.n_cells],
            colours=colours.DEPTH,
            low=low,
            high=high,
            levels=levels,
        )
        bands = found.results[i].bands
        told = f"mean {microns(bands['mean_depth'])}, deepest {microns(bands['greatest_depth'])}"
        set_title(axes, f"{_short(places[i], found.results[i].way.name)}\n{told}", 9.5, 4.3)
    words = f"depth removed, {height_unit()}\n{step_words(levels, height_unit())}".strip()
    finish_bar(figure.colorbar(mesh, ax=panels, aspect=35, shrink=0.8, pad=0.02), words)
    rest = len(others) - len(apart)
    note = "The figures are those of all cases; the map is their mean."
    if rest:
        note += (
            f" Not drawn: {counted(rest, 'way')} not clearly apart from the first in the deepest spot or the "
            "taper."
        )
    figure.supxlabel(folded(note, room(figure), 9.0), fontsize=9)
    return figure


def turns_figure(turns: TurnCurve, limit_by: str) -> Figure:
    """The measured figure above, the taper below, against strokes per turn on a log axis."""
    figure = Figure(figsize=(wide(8.4), 5.6), facecolor=colours.GROUND, layout="constrained")
    top, bottom = figure.subplots(2, 1, sharex=True)
    x = np.array(turns.intervals, dtype=float)
    held = "straightedge" if limit_by == "straightedge" else "flatness"
    for axes, values, colour, label in (
        (top, turns.flatness, colours.FLATNESS, f"{held}, {height_unit()}"),
        (bottom, turns.taper, colours.REMOVED, f"greater taper removed, {height_unit()}"),
    ):
        low, middle, high = (per_height() * values).T
        axes.fill_between(x, low, high, color=colour, alpha=0.18, lw=0)
        axes.plot(x, middle, color=colour, lw=2.0, marker="o", ms=4)
        axes.set_ylabel(label)
        axes.set_ylim(0.0, max(1.1 * float(high.max()), LEAST_SCALE))
        axes.grid(color=colours.RULE, lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        if turns.largest is not None and not turns.harmless:
            axes.axvline(
                turns.largest, color=colours.MARK, lw=1.4, ls=DOTTED,
                label=f"costs nothing measurable up to {turns.largest} strokes",
            )  # fmt: skip
    bottom.set_xscale("log")
    bottom.set_xticks(x)
    names = [*(f"{n}" for n in turns.intervals[:-1]), "never"]
    bottom.set_xticklabels(names, rotation=60 if narrow() else 0)
    bottom.minorticks_off()
    bottom.set_xlabel(f"strokes between turns, of {turns.strokes} on {turns.paper}")
    if turns.largest is not None and not turns.harmless:
        figure.legend(*bottom.get_legend_handles_labels(), loc="outside lower left", frameon=False)
    set_title(top, "What turning less often does. Shaded: 90 of 100 cases.")
    return figure
