"""A class on the wall: predictions as columns of dots, what was measured as dots over the model's band."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from handlap.cli.drawing import colours
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.pictures import STYLE, png
from handlap.cli.reports.lesson_words import LETTERS
from handlap.sim.teaching.lesson import LessonResult
from handlap.sim.teaching.lesson_class import ClassTable, HeldColumn
from handlap.sim.teaching.lesson_figures import SCREEN

PREDICTED, MEASURED = "predicted.png", "measured.png"


def class_pictures(result: LessonResult, table: ClassTable, held: Sequence[HeldColumn]) -> dict[str, bytes]:
    """PNG by name: predictions, where there are any, and what was measured."""
    found = {}
    with matplotlib.rc_context(STYLE):
        if table.predictions:
            found[PREDICTED] = png(_predicted(result, table))
        if held:
            found[MEASURED] = png(_measured(held))
    return found


def _predicted(result: LessonResult, table: ClassTable) -> Figure:
    choices = result.lesson.choices
    figure = Figure(figsize=(8.4, 3.6), facecolor=colours.GROUND, layout="constrained")
    axes = figure.subplots()
    most = 1
    for place in range(len(choices)):
        count = table.predictions.count(place)
        most = max(most, count)
        right = place == result.answer.choice
        axes.plot(
            [place] * count, np.arange(1, count + 1), "o", ms=13, mec=colours.CASES[0], mew=1.6,
            mfc=colours.CASES[0] if right else "none", ls="none",
        )  # fmt: skip
    axes.set_xticks(
        range(len(choices)), [f"{LETTERS[i]}\n{table.predictions.count(i)}" for i in range(len(choices))]
    )
    axes.set_xlim(-0.6, len(choices) - 0.4)
    axes.set_ylim(0.4, most + 0.6)
    axes.set_yticks([])
    axes.set_title("Predictions; filled: the one that holds")
    return figure


def _measured(held: Sequence[HeldColumn]) -> Figure:
    figure = Figure(figsize=(8.4, 0.8 + 1.25 * len(held)), facecolor=colours.GROUND, layout="constrained")
    panels = figure.subplots(len(held), 1, squeeze=False)[:, 0]
    for axes, one in zip(panels, held, strict=True):
        band, values = one.band, np.sort(one.values)
        axes.axvspan(band.p05, band.p95, color=colours.CASES[1], alpha=0.18, lw=0)
        axes.axvline(band.p50, color=colours.CASES[1], lw=2.0)
        # Side by side where they would lie on one another.
        lift = np.zeros(len(values))
        near = 0.02 * max(1e-9, max(values[-1], band.p95) - min(values[0], band.p05))
        for i in range(1, len(values)):
            lift[i] = (lift[i - 1] + 1.0) % 4 if values[i] - values[i - 1] < near else 0.0
        axes.plot(values, lift, "o", ms=10, color=colours.CASES[0], alpha=0.85)
        axes.set_ylim(-1.0, 4.0)
        axes.set_yticks([])
        sign = SCREEN[one.unit][0]
        axes.set_title(printable(one.words[:1].upper() + one.words[1:]) + (f" [{sign}]" if sign else ""))
    return figure
