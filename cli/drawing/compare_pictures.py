"""The pictures of a comparison of ways, as PNG."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.face_map import draw_face, levels_between, sheet_of_faces
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.pictures import DOTTED, LEAST_SCALE, STYLE, finish_bar, png
from handlap.cli.reports.quantity import number, stated_height
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.comparing.compare import Comparison
    from handlap.sim.comparing.turn_interval import TurnCurve

ACROSS = 3
LONG_NAME = 26


def compare_pictures(found: Comparison) -> dict[str, bytes]:
    """PNG by name: curves, removed, and turns where they were tried."""
    with matplotlib.rc_context(STYLE):
        pictures = {"curves.png": png(curves_figure(found)), "removed.png": png(removed_figure(found))}
        if found.turns is not None:
            pictures["turns.png"] = png(turns_figure(found.turns, found.scenario.part.limit_by))
    return pictures


def _short(place: int, name: str) -> str:
    return printable(f"{place} {name if len(name) <= LONG_NAME else name[: LONG_NAME - 1] + '…'}")


def curves_figure(found: Comparison) -> Figure:
    """One panel a way: its band against metal removed, the middles of the others behind it in grey."""
    places = found.order.places
    across = min(ACROSS, len(places))
    down = -(-len(places) // across)
    figure = Figure(
        figsize=(3.5 * across + 0.8, 2.5 * down + 0.9), facecolor=colours.GROUND, layout="constrained"
    )
    panels: list[Axes] = list(figure.subplots(down, across, squeeze=False, sharex=True, sharey=True).ravel())
    for spare in panels[len(places) :]:
        spare.set_visible(False)
    x = per_height() * found.depths
    part = found.scenario.part
    top = max(float(np.nanmax(found.results[i].curve[:, 2])) for i in places)
    for place, (axes, i) in enumerate(zip(panels, places, strict=False), 1):
        for j in places:
            axes.plot(x, per_height() * found.results[j].curve[:, 1], color=colours.FAINT, lw=0.7)
        low, middle, high = (per_height() * found.results[i].curve).T
        axes.fill_between(x, low, high, color=colours.FLATNESS, alpha=0.18, lw=0)
        axes.plot(x, middle, color=colours.FLATNESS, lw=2.0)
        axes.axhline(per_height() * part.limit, color=colours.LIMIT, lw=1.1, ls=(0, (6, 3)))
        axes.set_title(_short(place, found.results[i].way.name), fontsize=10)
        axes.set_xlim(0.0, x[-1])
        axes.set_ylim(0.0, 1.05 * per_height() * max(top, part.limit))
        axes.grid(color=colours.RULE, lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(labelbottom=place > len(places) - across)
    held = "straightedge" if part.limit_by == "straightedge" else "flatness"
    figure.supylabel(f"{held}, {height_unit()}", fontsize=10)
    figure.supxlabel(f"mean depth removed on the first paper, {height_unit()}", fontsize=10)
    figure.suptitle(
        "Shaded: 90 of 100 cases; grey: the middles of the other ways; broken: the limit, "
        f"{stated_height(part.limit)}",
        fontsize=10,
    )
    return figure


def removed_figure(found: Comparison) -> Figure:
    """Depth removed by each way, the mean over all members, on one scale."""
    outline, grid = found.scenario.part.outline, found.grid
    places = found.order.places
    maps = [per_height() * np.asarray(found.results[i].removed) for i in places]
    low, high = min(float(m.min()) for m in maps), max(float(m.max()) for m in maps)
    high = max(high, low + LEAST_SCALE)
    levels = levels_between(low, high)
    across = 2 if outline.length > 3.0 * outline.width or len(places) <= 4 else 4
    figure, panels = sheet_of_faces(outline, len(places), across=across, size=3.2 if across == 4 else 4.4)
    mesh: Any = None
    for place, (axes, depth, i) in enumerate(zip(panels, maps, places, strict=True), 1):
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
        mean = float(depth @ grid.area / grid.area.sum())
        axes.set_title(
            f"{_short(place, found.results[i].way.name)}\n"
            f"mean {number(mean, 2)}, most {number(float(depth.max()), 2)} {height_unit()}",
            fontsize=9,
        )
    finish_bar(
        figure.colorbar(mesh, ax=panels, aspect=35, shrink=0.8, pad=0.02), f"depth removed, {height_unit()}"
    )
    return figure


def turns_figure(turns: TurnCurve, limit_by: str) -> Figure:
    """The measured figure above, the taper below, against strokes per turn on a log axis."""
    figure = Figure(figsize=(8.4, 5.6), facecolor=colours.GROUND, layout="constrained")
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
    bottom.set_xticklabels([*(f"{n}" for n in turns.intervals[:-1]), "never"])
    bottom.minorticks_off()
    bottom.set_xlabel(f"strokes between turns, of {turns.strokes} on {turns.paper}")
    if turns.largest is not None and not turns.harmless:
        bottom.legend(loc="upper left", framealpha=1.0, edgecolor="none")
    top.set_title("What turning less often does. Shaded: 90 of 100 cases.")
    return figure
