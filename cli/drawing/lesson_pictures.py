"""The pictures of a lesson's answer, as PNG: each case in one look, each quantity on one scale.

Cases differ in the style of their line and in their mark as well as in colour, so that a grey
print tells them apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DOTTED, LEAST_SCALE
from handlap.cli.drawing.dye_drawing import swatches
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
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.pictures import ONE_CASE, STYLE, levelled, png
from handlap.cli.drawing.sizes import folded, narrow, wide
from handlap.cli.reports.lesson_report import cell
from handlap.cli.reports.lesson_words import LETTERS, FigureWords, figure_words, has_course, same_start
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.teaching.lesson import CaseResult, LessonResult
from handlap.sim.teaching.lesson_answer import asked_unit
from handlap.sim.teaching.lesson_figures import SCREEN
from handlap.sim.teaching.lesson_file import case_scenario

MARGIN = 1.015
"""How far beyond the face a map reaches, as for maps of one face."""


class CaseStyle(NamedTuple):
    """How one case is drawn wherever it is drawn."""

    colour: str
    line: Any
    mark: str


LOOKS = (
    CaseStyle(colours.CASES[0], "solid", "o"),
    CaseStyle(colours.CASES[1], (0, (6, 2)), "s"),
    CaseStyle(colours.CASES[2], (0, (1, 1.3)), "^"),
    CaseStyle(colours.CASES[3], (0, (6, 2, 1, 2)), "D"),
    CaseStyle(colours.CASES[4], (0, (3, 1.5)), "v"),
    CaseStyle(colours.CASES[5], (0, (6, 1, 1, 1, 1, 1)), "P"),
)
"""In the order of the cases; dark and light alternate, so that they differ in grey as well."""


def look_of(place: int) -> CaseStyle:
    """The look of the case at a place."""
    return LOOKS[place % len(LOOKS)]


def lesson_pictures(result: LessonResult) -> dict[str, bytes]:
    """PNG by name, those that the lesson asks for: curve, before, after, removed, dye."""
    makers: dict[str, Callable[[LessonResult], Figure]] = {
        "curve": curve_figure,
        "before": before_figure,
        "after": after_figure,
        "removed": removed_figure,
        "dye": dye_figure,
    }
    with matplotlib.rc_context(STYLE):
        return {f"{name}.png": png(makers[name](result)) for name in dict.fromkeys(result.lesson.pictures)}


def curve_figure(result: LessonResult) -> Figure:
    """The figure asked about against strokes, a band a case; without a course, its bands side by side."""
    if not has_course(result):
        return bands_figure(result)
    words = figure_words(result.lesson.question.figure)
    figure = Figure(figsize=(wide(8.4), 4.8), facecolor=colours.GROUND, layout="constrained")
    axes = figure.subplots()
    ends = []
    for place, case in enumerate(result.cases):
        if case.course is None:
            continue
        look, x = look_of(place), np.asarray(case.strokes, dtype=float)
        low, middle, high = np.percentile(words.factor * case.course, [5.0, 50.0, 95.0], axis=0)
        axes.fill_between(x, low, high, color=look.colour, alpha=0.13, lw=0)
        axes.plot(x, low, x, high, color=look.colour, lw=0.6, ls=look.line)
        axes.plot(
            x, middle, color=look.colour, lw=2.2, ls=look.line, marker=look.mark, ms=5.5,
            markevery=max(1, (len(x) - 1) // 6), label=printable(case.case.words),
        )  # fmt: skip
        ends.append((float(x[-1]), float(high.max()), float(low.min())))
    _frame(axes, words, max(high for _, high, _ in ends), min(low for _, _, low in ends))
    axes.set_xlim(0.0, max(1.0, max(x for x, _, _ in ends)))
    axes.set_xlabel("strokes, there and back")
    set_title(axes, f"{words.label[:1].upper()}{words.label[1:]}. Shaded: 90 of 100.")
    axes.legend(loc="best", framealpha=0.9, edgecolor="none", handlelength=4.0)
    return figure


def _frame(axes: Axes, words: FigureWords, high: float, low: float) -> None:
    if low >= 0.0:
        axes.set_ylim(0.0, 1.08 * max(high, LEAST_SCALE))
    else:
        axes.axhline(0.0, color=colours.FAINT, lw=0.8)
    axes.set_ylabel(words.unit or words.label)
    axes.grid(color=colours.RULE, lw=0.6)
    axes.spines[["top", "right"]].set_visible(False)


def bands_figure(result: LessonResult) -> Figure:
    """What the question compares: one band a case, side by side."""
    question, values = result.lesson.question, result.answer.values
    unit, factor = SCREEN[asked_unit(question)]
    shown = [(i, case) for i, case in enumerate(result.cases) if case.case.name in values]
    size = wide(8.4), 0.75 * len(shown) + (2.1 if narrow() else 1.5)
    figure = Figure(figsize=size, facecolor=colours.GROUND, layout="constrained")
    axes = figure.subplots()
    bands = [values[case.case.name].scaled(factor) for _, case in shown]
    known = [end for band in bands for end in (band.p05, band.p50, band.p95) if math.isfinite(end)]
    beyond = 1.15 * max(known, default=1.0)
    for row, ((place, _), band) in enumerate(zip(shown, bands, strict=True)):
        look = look_of(place)
        low, middle, high = (min(end, beyond) for end in (band.p05, band.p50, band.p95))
        axes.plot([low, high], [row, row], color=look.colour, lw=2.2, ls=look.line)
        axes.plot([low, high], [row, row], "|", color=look.colour, ms=13, mew=1.6, markevery=[0])
        axes.plot(high, row, ">" if high < band.p95 else "|", color=look.colour, ms=13, mew=1.6)
        axes.plot(middle, row, look.mark, color=look.colour, ms=9)
    axes.set_yticks(range(len(shown)), [_folded(case.case.words) for _, case in shown])
    axes.set_ylim(len(shown) - 0.5, -0.5)
    if all(band.p05 >= 0.0 for band in values.values()):
        axes.set_xlim(left=0.0)
    _mark_ranges(axes, result, factor)
    label = asked_words(result)
    axes.set_xlabel(f"{label}, {unit}" if unit else label)
    axes.grid(axis="x", color=colours.RULE, lw=0.6)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    arrows = any(band.p95 > beyond for band in bands)
    set_title(
        axes,
        "The mark is the middle; the line holds 90 of 100."
        + (" An arrow: not reached by some." if arrows else ""),
    )
    return figure


def _mark_ranges(axes: Axes, result: LessonResult, factor: float) -> None:
    """Where one prediction ends and the next begins, for a question about how large a figure is."""
    ranges = [
        (factor * c.between[0], factor * c.between[1]) if c.between else None for c in result.lesson.choices
    ]
    if not any(ranges):
        return
    spans = {
        LETTERS[i]: (factor * choice.between[0], factor * choice.between[1])
        for i, choice in enumerate(result.lesson.choices)
        if choice.between is not None
    }
    left, right = axes.get_xlim()
    # A little of the ranges on either side is shown, unless they lie far off.
    near = [end for span in spans.values() for end in span if end < 2.0 * right]
    right = max([right, *(1.2 * end for end in near)])
    for name, (low, high) in spans.items():
        for end in (low, high):
            if left < end < right:
                axes.axvline(end, color=colours.INK, lw=0.8, ls=DOTTED)
        if max(left, low) < min(right, high):
            middle = 0.5 * (max(left, low) + min(right, high))
            axes.text(middle, -0.45, name, ha="center", va="top", fontweight="bold")
    axes.set_xlim(left, right)


def asked_words(result: LessonResult) -> str:
    """What is asked about, and what it is divided by."""
    question = result.lesson.question
    label = figure_words(question.figure).label
    if question.ratio_to is None and question.base is None:
        return label
    base = next((c.case.words for c in result.cases if c.case.name == question.base), "")
    under = figure_words(question.ratio_to).label if question.ratio_to else "that"
    return f"{label} over {under}" + (f" of “{printable(base)}”" if base else "")


def _folded(text: str, width: int = 30) -> str:
    import textwrap

    return printable("\n".join(textwrap.wrap(text, width)))


# ---- maps


def _maps(
    result: LessonResult,
    cases: Sequence[CaseResult],
    values: Sequence[Array],
    titles: Sequence[str],
    **scale: Any,
) -> tuple[Figure, list[Axes], Any]:
    """One map a case, all on one scale; returns figure, axes and what a colour bar needs."""
    outlines = [case_scenario(result.lesson, case.case).part.outline for case in cases]
    widest = max(outlines, key=lambda o: o.length)
    long = widest.length > 3.0 * widest.width
    across = 1 if long or narrow() else min(3, len(cases)) if len(cases) != 4 else 2
    lines = 1 + max(title.count("\n") for title in titles)
    size = 2.7 if across == 3 else 3.9
    figure, panels = sheet_of_faces(widest, len(cases), across=across, size=size, lines=lines)
    mesh: Any = None
    for axes, outline, case, value, title in zip(panels, outlines, cases, values, titles, strict=True):
        mesh = draw_face(axes, outline, case.grid, value[: case.grid.n_cells], **scale)
        axes.set_title(title, fontsize=9.5)
    half = [MARGIN * 500.0 * max(side) for side in zip(*((o.length, o.width) for o in outlines), strict=True)]
    panels[0].set_xlim(-half[0], half[0])
    panels[0].set_ylim(-half[1], half[1])
    return figure, panels, mesh


def _titled(case: CaseResult, figures: str) -> str:
    return f"{_folded(case.case.words, 28)}\n{figures}"


def heights_scale(result: LessonResult) -> float:
    """Half width of the scale of heights that all faces of a lesson share, before and after [µm]."""
    wanted = {"before", "after"} & set(result.lesson.pictures)
    faces = [
        levelled(case.grid, heights)[: case.grid.n_cells]
        for case in result.cases
        for name, heights in (("before", case.before), ("after", case.after))
        if name in wanted or not wanted
    ]
    return max(LEAST_SCALE, per_height() * max(float(np.abs(face).max()) for face in faces))


def _heights_figure(result: LessonResult, cases: Sequence[CaseResult], when: str, note: str) -> Figure:
    half = heights_scale(result)
    maps = [levelled(c.grid, c.before if when == "before" else c.after) for c in cases]
    name = "flatness_start" if when == "before" else "flatness"
    spans = [f"flatness {told(case, name)}" for case in cases]
    levels = levels_between(-half, half)
    titles = [
        _titled(case, span) if len(cases) > 1 else span for case, span in zip(cases, spans, strict=True)
    ]
    figure, panels, mesh = _maps(
        result, cases, [per_height() * m for m in maps], titles,
        colours=colours.HEIGHT, low=-half, high=half, levels=levels,
    )  # fmt: skip
    for axes, case, heights in zip(panels, cases, maps, strict=True):
        mark_ends(axes, case.grid, per_height() * heights, LEAST_SCALE)
    words = f"height, {height_unit()}\n{step_words(levels, height_unit())}"
    finish_bar(figure.colorbar(mesh, ax=panels, aspect=30, shrink=0.9, pad=0.02), words)
    _said(figure, note)
    return figure


def before_figure(result: LessonResult) -> Figure:
    """The faces before any stroke, each less its best plane."""
    alone = same_start(result)
    note = "The face before, the same in all cases" if alone else "Before"
    cases = result.cases[:1] if alone else result.cases
    return _heights_figure(
        result, cases, "before", f"{note}. Proud is brown (+), low is blue (−, broken lines)."
    )


def after_figure(result: LessonResult) -> Figure:
    """The faces after the last stroke, on the scale of the faces before."""
    return _heights_figure(
        result, result.cases, "after", "After. Proud is brown (+), low is blue (−, broken lines)."
    )


def removed_figure(result: LessonResult) -> Figure:
    """Depth removed, on one scale."""
    depths = [per_height() * (case.before - case.after) for case in result.cases]
    high = max(LEAST_SCALE, *(float(d.max()) for d in depths))
    levels = levels_between(0.0, high)
    titles = [
        _titled(case, f"mean {told(case, 'mean_depth')}\ndeepest {told(case, 'deepest')}")
        for case in result.cases
    ]
    figure, panels, mesh = _maps(
        result, result.cases, depths, titles, colours=colours.DEPTH, low=0.0, high=high, levels=levels
    )
    words = f"depth removed, {height_unit()}\n{step_words(levels, height_unit())}".strip()
    finish_bar(figure.colorbar(mesh, ax=panels, aspect=30, shrink=0.9, pad=0.02), words)
    _said(figure, "Depth removed: the darker, the more.")
    return figure


def told(case: CaseResult, name: str) -> str:
    """A figure of all members of a case, as the table has it."""
    return cell(case, name)


def _said(figure: Figure, note: str) -> None:
    """A sentence over the maps, and whose figures stand over them."""
    figure.suptitle(folded(note, room(figure)), fontsize=10)
    figure.supxlabel(folded(ONE_CASE, room(figure), 9.0), fontsize=9)


def dye_figure(result: LessonResult) -> Figure:
    """The dye at the last look: full, fading, gone."""
    titles = [
        _titled(case, f"{told(case, 'dye_faded')} fading or gone,\nleft on {told(case, 'dye_left')}")
        for case in result.cases
    ]
    figure, _, _ = _maps(
        result, result.cases, [case.dye for case in result.cases], titles,
        colours=colours.DYE, low=0.0, high=1.0,
    )  # fmt: skip
    key = sorted({float(v) for case in result.cases for v in np.unique(case.dye)}, reverse=True)
    swatches(figure, key, "dye")
    figure.suptitle(
        folded(f"The dye at the last look: dark full, half way fading, light gone. {ONE_CASE}", room(figure)),
        fontsize=10,
    )
    return figure
