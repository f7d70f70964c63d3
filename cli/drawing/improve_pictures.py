"""The pictures of a search for a better way of working, as PNG."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import matplotlib
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DOTTED
from handlap.cli.drawing.mark_lines import Column, MarkLine, mark_line_figure
from handlap.cli.drawing.pictures import STYLE, png
from handlap.cli.drawing.sizes import folded, narrow, wide
from handlap.cli.reports.quantity import chance
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.comparing.improve import Improvement, Seen

PER_CENT = 100.0


def improve_pictures(found: Improvement) -> dict[str, bytes]:
    """PNG by name: ways (before and after), and search."""
    with matplotlib.rc_context(STYLE):
        return {name: png(figure) for name, figure in improve_figures(found).items()}


def improve_figures(found: Improvement) -> dict[str, Figure]:
    """The pictures of a search by the names of their files."""
    return {"ways.png": before_and_after(found), "search.png": search_figure(found)}


def before_and_after(found: Improvement) -> Figure:
    """The way as it stands and the one that was found, on fresh numbers: what each comes to."""
    held = "reading" if found.scenario_before.part.limit_by == "straightedge" else "flatness"
    ways = {"as it stands": found.before, "found": found.honest}
    unit, factor = height_unit(), per_height()
    columns = [
        Column("minutes", [MarkLine(way.minutes, True) for way in ways.values()]),
        Column(
            f"{held}, {unit}",
            [MarkLine(way.measured.scaled(factor), True) for way in ways.values()],
        ),
        Column(
            f"deepest, {unit}",
            [MarkLine(way.greatest_depth.scaled(factor), True) for way in ways.values()],
        ),
        Column("sheets", [MarkLine(way.sheets, True) for way in ways.values()]),
    ]
    rows = [f"{name}: {chance(way.chance)} inside" for name, way in ways.items()]
    title = (
        "As it stands and as it was found, on fresh random numbers: the middle and 90 of 100 cases; beside "
        "the names the chance to end inside all limits."
    )
    return mark_line_figure(rows, columns, title=title)


def front(tried: Sequence[Seen]) -> list[Seen]:
    """The ways that no other beats in chance without taking longer, quickest first.

    >>> from handlap.sim.comparing.improve import Seen
    >>> [s.minutes for s in front([Seen(9, 0.5, 8), Seen(5, 0.5, 8), Seen(7, 0.9, 8), Seen(8, 0.8, 8)])]
    [5, 7]
    """
    found: list[Seen] = []
    for seen in sorted(tried, key=lambda s: (s.minutes, -s.chance)):
        if not found or seen.chance > found[-1].chance:
            found.append(seen)
    return found


def search_figure(found: Improvement) -> Figure:
    """Chance against minutes: all that was tried, the front of it, and both ways on fresh numbers."""
    figure = Figure(figsize=(wide(8.4), 5.2), facecolor=colours.GROUND, layout="constrained")
    axes = figure.subplots()
    few = min((seen.members for seen in found.tried), default=0)
    # Those tried on a few members only are seen in coarse steps, and stay out of the front.
    many = [seen for seen in found.tried if seen.members > few] or list(found.tried)
    rough = [seen for seen in found.tried if seen not in many]
    for shown, mark, label in (
        (rough, "x", f"tried on {few} cases"),
        (many, "o", f"tried on {found.search_members} cases"),
    ):
        if shown:
            axes.plot(
                [s.minutes for s in shown], [PER_CENT * s.chance for s in shown], mark, ms=5, mew=1.0,
                color=colours.FAINT, mfc=colours.GROUND, label=label,
            )  # fmt: skip
    edge = front(many)
    axes.plot(
        [s.minutes for s in edge], [PER_CENT * s.chance for s in edge], color=colours.STRAIGHTEDGE, lw=1.6,
        ls=DOTTED, drawstyle="steps-post", label="front of what was tried",
    )  # fmt: skip
    for tried, mark, label, fill in (
        (found.before, "s", "as it stands, fresh numbers", colours.GROUND),
        (found.honest, "D", "found, fresh numbers", colours.FLATNESS),
    ):
        axes.plot(
            [tried.minutes.p50], [PER_CENT * tried.chance], mark, ms=9, color=colours.FLATNESS, mfc=fill,
            mew=1.8, label=label, zorder=5,
        )  # fmt: skip
    axes.set_xlim(left=0.0)
    axes.set_ylim(-3.0, 103.0)
    axes.set_xlabel("minutes, middle of the cases")
    axes.set_ylabel("ends inside all limits, %")
    axes.grid(color=colours.RULE, lw=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(loc="outside lower left", frameon=False, ncols=1 if narrow() else 3, fontsize=9)
    title = (
        "Chance against minutes of all that the search tried. It chose on its own numbers, where luck "
        "flatters; the large marks are on fresh ones."
    )
    figure.suptitle(folded(title, wide(8.4) - 0.2), x=0.01, ha="left", fontsize=10)
    return figure
