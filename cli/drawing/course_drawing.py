"""The course of a job: flatness and metal removed against strokes, their limits, what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.sizes import folded, narrow, wide
from handlap.cli.reports.blocks import together
from handlap.cli.reports.quantity import stated_height
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.job.scenario import Part

DOTTED = (0, (1, 1.2))
LEAST_SCALE = 0.01
"""Half width of a scale on which nothing is to be seen [µm]."""
BEYOND_STOP = 1.3
"""The axis ends at this many times the upper end of the strokes it may take."""
DIFFERS = 0.02
"""The straightedge's curve is drawn where it lies so far from the flatness, over the panel's height."""
MARGIN = 1.15
"""Room at the right for the names of lines [inch]."""


@dataclass(frozen=True)
class DrawnCourse:
    """Figures against strokes; arrays (k, 3) as p05, p50, p95, all alike where nothing is uncertain [m]."""

    strokes: Array
    flatness: Array
    straightedge: Array
    greatest_depth: Array
    mean_depth: Array | None = None


@dataclass(frozen=True)
class MeasuredMark:
    """What was measured after ``strokes``: an interval, open above where ``high`` is infinite [m]."""

    strokes: int
    low: float
    high: float
    middle: float | None = None


@dataclass(frozen=True)
class Marks:
    """What is marked along the strokes of a course.

    Attributes
    ----------
    best, planned : strokes; ``planned_words``: what ``planned`` is
    stops : strokes at which the work may stop, 90 in 100
    done : strokes done already
    leaves, weighed : gaps by the leaves, and mean depths by the scale
    old : the course as it was planned first
    """

    best: int | None = None
    planned: int | None = None
    planned_words: str = "planned"
    stops: tuple[float, float] | None = None
    done: int | None = None
    leaves: Sequence[MeasuredMark] = field(default=())
    weighed: Sequence[MeasuredMark] = field(default=())
    old: DrawnCourse | None = None


def course_figure(
    course: DrawnCourse, part: Part, where: str, marks: Marks | None = None, *, look_at: float | None = None
) -> Figure:
    """Flatness and straightedge above, depth below, against strokes; the names of lines stand beside them.

    The axis ends at ``look_at`` [strokes].
    """
    marks = marks or Marks()
    figure = Figure(figsize=(wide(8.4), 6.4), facecolor=colours.GROUND, layout="constrained")
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    x = course.strokes
    known = max(float(x.max()), 0.0 if marks.stops is None else marks.stops[1])
    end = max(1.0, min(look_at or known, known))
    names: dict[Axes, list[tuple[float, str, str]]] = {top: [], bottom: []}
    for axes in (top, bottom):
        _shade(axes, marks, end)
    high = _highest(x, course.flatness, end, part.limit, marks.leaves)
    _flatness(top, course, part, end, high, names[top])
    _limit(top, part.limit, f"limit for the {_held(part)}", names[top])
    deepest = _highest(x, course.greatest_depth, end, part.allowance, marks.weighed)
    _depth(bottom, course, part, end, names[bottom])
    if marks.old is not None:
        for axes, values in ((top, marks.old.flatness), (bottom, marks.old.greatest_depth)):
            low, _, above = (per_height() * values).T
            axes.fill_between(marks.old.strokes, low, above, color=colours.FAINT, alpha=0.22, lw=0, zorder=0)
    _measured(top, bottom, marks)
    for axes, height in ((top, high), (bottom, deepest)):
        axes.set_ylim(0.0, height)
        axes.set_xlim(0.0, end)
        axes.grid(color=colours.RULE, lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        _verticals(axes, marks, end)
        _name_lines(axes, names[axes], height)
    top.set_ylabel(f"out of flat, {height_unit()}")
    bottom.set_ylabel(f"removed, {height_unit()}")
    bottom.set_xlabel(f"strokes {where}")
    _name_marks(top, marks, end)
    figure.suptitle(
        folded(_title(course, marks), 3.8 if narrow() else 8.0), x=0.01, ha="left", fontsize=10, wrap=False
    )
    return figure


def _held(part: Part) -> str:
    return "straightedge" if part.limit_by == "straightedge" else "flatness"


def _title(course: DrawnCourse, marks: Marks) -> str:
    """What the picture is, and what its shades and signs mean."""
    told = ["Flatness and metal removed against strokes."]
    if np.any(course.flatness[:, 2] > course.flatness[:, 0]):
        told.append("Bands: 90 of 100 cases.")
    if marks.old is not None:
        told.append("Faint: as it was planned before the log.")
    if marks.leaves:
        told.append(
            "Bars: the widest gap read at the stations, between the leaf that goes and the one that stops; "
            "between the stations it may be wider."
        )
    if marks.weighed:
        told.append("Points: mean depth by the scale.")
    return " ".join(told)


def _shade(axes: Axes, marks: Marks, end: float) -> None:
    if marks.done:
        axes.axvspan(0.0, min(marks.done, end), color=colours.HAIR, alpha=0.6, lw=0, zorder=-2)
    if marks.stops is not None and marks.stops[0] < end:
        axes.axvspan(marks.stops[0], min(marks.stops[1], end), color=colours.RULE, alpha=0.7, lw=0, zorder=-1)


def _flatness(
    axes: Axes, course: DrawnCourse, part: Part, end: float, high: float, names: list[tuple[float, str, str]]
) -> None:
    """The flatness, and the straightedge's reading where it lies somewhere else."""
    x = course.strokes
    shown = x <= end
    differs = per_height() * np.abs(course.straightedge[:, 1] - course.flatness[:, 1]) > DIFFERS * high
    apart = bool(np.any(differs & shown))
    _band(axes, x, course.flatness, colours.FLATNESS, "solid", "flatness (minimum zone)")
    words = "flatness" if apart else "flatness; the straightedge reads the same"
    names.append((_at(x, course.flatness, end), words, colours.FLATNESS))
    if apart:
        # A point to either side keeps the line whole where it leaves the other.
        near = differs | np.roll(differs, 1) | np.roll(differs, -1)
        values = np.where(near[:, None], course.straightedge, np.nan)
        _band(axes, x, values, colours.STRAIGHTEDGE, DOTTED, "straightedge's reading", filled=False)
        last = _at(x[near], course.straightedge[near], end)
        names.append((last, "straightedge", colours.STRAIGHTEDGE))


def _depth(
    axes: Axes, course: DrawnCourse, part: Part, end: float, names: list[tuple[float, str, str]]
) -> None:
    x = course.strokes
    _band(axes, x, course.greatest_depth, colours.REMOVED, "solid", "deepest spot")
    names.append((_at(x, course.greatest_depth, end), "deepest spot", colours.REMOVED))
    if course.mean_depth is not None:
        _band(axes, x, course.mean_depth, colours.REMOVED, DOTTED, "mean depth", filled=False)
        names.append((_at(x, course.mean_depth, end), "mean depth", colours.REMOVED))
    if part.allowance is not None:
        _limit(axes, part.allowance, "allowance", names)


def _limit(axes: Axes, at: float, words: str, names: list[tuple[float, str, str]]) -> None:
    text = f"{words}, {stated_height(at)}"
    axes.axhline(per_height() * at, color=colours.LIMIT, lw=1.2, ls=(0, (6, 3)), label=text)
    names.append((per_height() * at, text, colours.LIMIT))


def _at(x: Array, values: Array, end: float) -> float:
    """The middle of a band (k, 3) where the axis ends [µm]."""
    return float(per_height() * np.interp(min(end, x[-1]), x, values[:, 1]))


def _highest(
    x: Array, values: Array, end: float, line: float | None, measured: Sequence[MeasuredMark]
) -> float:
    """Top of an axis [µm] that shows the band up to ``end``, the line and what was measured."""
    seen = float(values[x <= end].max()) if np.any(x <= end) else 0.0
    ends = [m.low if np.isinf(m.high) else m.high for m in measured]
    return 1.08 * per_height() * max(seen, line or 0.0, *ends, LEAST_SCALE / per_height())


def _band(
    axes: Axes, x: Array, values: Array, colour: str, style: Any, label: str, *, filled: bool = True
) -> None:
    """A middle line with its band, filled or between two thin lines."""
    low, middle, high = (per_height() * values).T
    if np.any(high > low) and filled:
        axes.fill_between(x, low, high, color=colour, alpha=0.18, lw=0)
    elif np.any(high > low):
        axes.plot(x, low, x, high, color=colour, lw=0.7, ls=style)
    axes.plot(x, middle, color=colour, lw=2.0, ls=style, label=label)


def _measured(top: Axes, bottom: Axes, marks: Marks) -> None:
    """Leaves as bars, an arrow where no leaf stopped; weighings as points with their error."""
    for read in marks.leaves:
        low = per_height() * read.low
        if np.isinf(read.high):
            top.plot([read.strokes], [low], "^", ms=7, color=colours.INK, clip_on=False, zorder=5)
            continue
        bar = ([read.strokes] * 2, [low, per_height() * read.high])
        top.plot(*bar, color=colours.GROUND, lw=6.5, solid_capstyle="butt", clip_on=False, zorder=4)
        top.plot(*bar, color=colours.INK, lw=4.0, solid_capstyle="butt", clip_on=False, zorder=5)
    for weighed in marks.weighed:
        low, middle, high = (per_height() * v for v in (weighed.low, weighed.middle or 0.0, weighed.high))
        bottom.plot([weighed.strokes] * 2, [low, high], color=colours.INK, lw=1.2, clip_on=False, zorder=5)
        bottom.plot(
            [weighed.strokes], [middle], "o", ms=6, mfc=colours.GROUND, mec=colours.INK, mew=1.5,
            clip_on=False, zorder=6,
        )  # fmt: skip


def _verticals(axes: Axes, marks: Marks, end: float) -> None:
    if marks.planned is not None and marks.planned <= end:
        axes.axvline(
            marks.planned, color=colours.INK, lw=1.0, label=f"{marks.planned_words}: {marks.planned} strokes"
        )
    if marks.best is not None and marks.best <= end:
        axes.axvline(
            marks.best, color=colours.MARK, lw=1.4, ls=(0, (5, 2, 1, 2)),
            label=f"best point: {marks.best} strokes",
        )  # fmt: skip


def _name_marks(axes: Axes, marks: Marks, end: float) -> None:
    """What is marked along the strokes, named over the panel, each row free of the others."""
    told: list[tuple[float, str, str]] = []
    if marks.done:
        told.append((0.5 * min(marks.done, end), "done", colours.QUIET))
    if marks.stops is not None and marks.stops[0] < end:
        told.append((0.5 * (marks.stops[0] + min(marks.stops[1], end)), "likely stop", colours.QUIET))
    if marks.planned is not None and marks.planned <= end:
        told.append((marks.planned, f"{marks.planned_words}: {marks.planned}", colours.INK))
    if marks.best is not None:
        here = marks.best <= end
        words = f"best point: {marks.best}" if here else f"best point beyond: {marks.best} →"
        told.append((min(marks.best, end), words, colours.MARK))
    inches = (wide(8.4) - MARGIN - 0.7) / end
    free = [float("-inf")] * len(told)
    rows = []
    for at, words, colour in sorted(told):
        half = 0.5 * len(words) * 0.085 / inches
        middle = min(max(at, half), max(end - half, half))
        row = next(k for k, right in enumerate(free) if middle - half > right)
        free[row] = middle + half + 0.08 / inches
        rows.append((middle, row, words, colour))
    for middle, row, words, colour in rows:
        axes.annotate(
            words, (middle, 1.0), (0, 3 + 13 * row), xycoords=axes.get_xaxis_transform(),
            textcoords="offset points", ha="center", va="bottom", color=colour, fontsize=9,
            annotation_clip=False,
        )  # fmt: skip


def _name_lines(axes: Axes, names: Sequence[tuple[float, str, str]], height: float) -> None:
    """The names of lines beside their ends, moved apart where they would lie over one another."""
    share = 0.055 if axes.get_subplotspec().rowspan.start == 0 else 0.085  # type: ignore[union-attr]
    texts = [(value, folded(together(words), MARGIN, 9.0), colour) for value, words, colour in sorted(names)]
    tall = [share * (text.count("\n") + 1) for _, text, _ in texts]
    middles = [min(max(value / height, 0.0), 1.0) for value, _, _ in texts]
    for k in range(1, len(middles)):
        middles[k] = max(middles[k], middles[k - 1] + 0.5 * (tall[k] + tall[k - 1]))
    over = middles[-1] + 0.5 * tall[-1] - 1.05 if middles else 0.0
    for k in range(len(middles) - 1, -1, -1):
        if over > 0.0:
            ceiling = 1.05 - 0.5 * tall[k] if k + 1 == len(middles) else (
                middles[k + 1] - 0.5 * (tall[k] + tall[k + 1])
            )  # fmt: skip
            middles[k] = min(middles[k], ceiling)
    for middle, (_, text, colour) in zip(middles, texts, strict=True):
        axes.annotate(
            text, (1.0, middle), (5, 0), xycoords="axes fraction", textcoords="offset points",
            ha="left", va="center", color=colour, fontsize=9, linespacing=1.1, annotation_clip=False,
        )  # fmt: skip
