"""What is said of a stint at the bench once it is over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from handlap.cli.drawing.face_drawing import face_drawing
from handlap.cli.reports.as_json import MICRON
from handlap.cli.reports.blocks import Bullets, Facts, Picture, Report, Section, Words
from handlap.cli.reports.quantity import counted, height
from handlap.cli.reports.wording import face_words, subject, wanted_words
from handlap.sim.common.said import figure, said_of
from handlap.sim.planning.cautions import cautions
from handlap.sim.teaching.stint_debrief import PLAIN_EVERY, PLAIN_TURNING

if TYPE_CHECKING:
    from handlap.sim.teaching.stint import StintRig
    from handlap.sim.teaching.stint_debrief import Debrief, PlainPlan

COLUMNS = 60
"""Width of the face in letters."""


def stint_report(rig: StintRig, found: Debrief, orders: Sequence[str]) -> Report:
    """The debrief of a stint."""
    from handlap.cli.drawing.pictures import levelled

    scenario = rig.exercise.scenario
    part, grid = scenario.part, rig.crew.rig.grid
    answer, tone = verdict_words(found)
    costs = found.costs
    spare = "" if part.allowance is None else f", {height(part.allowance)} to spare"
    facts = Facts(
        (
            ("Face", face_words(part)),
            ("Wanted", wanted_words(part)),
            ("Minutes", f"{costs.minutes:.0f}"),
            ("Work", f"{counted(costs.strokes, 'stroke')}, {counted(costs.sheets, 'sheet')}, "
                     f"{counted(costs.turns, 'turn')}, {counted(costs.brushings, 'brushing')}"),
            ("Metal off", f"{1e3 * found.mass:.1f} g, {height(found.mean_depth)} in the mean"),
            ("Deepest spot", f"{height(found.deepest)} off{spare}"),
            ("By the limit", f"{height(found.measured)}, from {height(found.before)}"),
            ("Flatness", height(found.flatness)),
        )
    )  # fmt: skip
    low = levelled(grid, found.first)[: grid.n_cells]
    scale = float(low.min()), float(low.max())
    faces = (
        Words("Before:"),
        face_drawing(grid, levelled(grid, found.first), COLUMNS, scale),
        Words("Now, on the same scale:"),
        face_drawing(grid, levelled(grid, found.last), COLUMNS, scale),
        Picture(
            "faces.png",
            "The true face before and after, on one scale.",
            "Maps of the face before the stint and after it.",
        ),
    )
    return Report(
        kind="stint",
        answer=answer,
        tone=tone,
        subject=f"{subject(scenario)}: a stint at {rig.exercise.name}",
        lead=_lead(found),
        sections=(
            Section("What it came to", (facts,)),
            Section("A plain plan by the same hands", (Words(_plain_words(found.plain)),)),
            Section("The face", faces),
            Section("What you ordered", (Words(", ".join(orders) or "nothing"),)),
            Section(
                "On a real part",
                (Bullets(tuple(cautions(part.metal, weight=part.weight, wet=scenario.paper.wet))),),
                aside=True,
            ),
        ),
    )


def verdict_words(found: Debrief) -> tuple[str, Literal["good", "doubt", "bad"]]:
    """How a stint ended, in words and in tone."""
    if not found.kept:
        return "Scrap: more came off than there was to spare", "bad"
    if found.inside:
        return "Inside the limit, with metal to spare", "good"
    return "Not inside the limit yet", "doubt"


def _lead(found: Debrief) -> tuple[str, ...]:
    words = []
    if found.past_best:
        words.append(
            f"It had been better: {height(found.best[0])} after {counted(found.best[1], 'stroke')}. What "
            "came after made it worse."
        )
    if found.inside and found.kept and found.plain is not None and found.plain.inside and found.plain.kept:
        quicker = found.costs.minutes < found.plain.minutes
        words.append(
            "Quicker than the plain plan below, checks included."
            if quicker
            else "The plain plan below would have been quicker; its looks are not counted in its minutes."
        )
    return tuple(words)


def _plain_words(plain: PlainPlan | None) -> str:
    if plain is None:
        return "No plain plan can be worked by these hands on this face."
    end = (
        "inside both limits" if plain.inside and plain.kept
        else "inside the limit, but with more off than there is to spare" if plain.inside
        else "not inside the limit"
    )  # fmt: skip
    return (
        f"{plain.paper} alone, turned ({PLAIN_TURNING}) every {PLAIN_EVERY}, brushed and changed when due, "
        f"a look every two minutes, stopped at nine tenths of the limit or where it gets no better: "
        f"{plain.strokes} strokes, {plain.minutes:.0f} min without the looks, "
        f"{counted(plain.sheets, 'sheet')}, {1e3 * plain.mass:.1f} g; {height(plain.measured)} by the limit, "
        f"{height(plain.deepest)} off at "
        f"the deepest spot, {end}. It is the best of the papers at hand, tried on the true face."
    )


def debrief_json(found: Debrief) -> dict[str, Any]:
    """A debrief as JSON."""
    plain = found.plain
    return {
        **said_of(found, "mass before measured flatness deepest mean_depth inside kept"),
        "best_um": figure(found.best[0], MICRON),
        "best_at_strokes": found.best[1],
        "plain_plan": None
        if plain is None
        else {
            **said_of(plain, "paper strokes"),
            "minutes": round(plain.minutes, 2),
            **said_of(plain, "sheets mass measured deepest inside kept"),
        },
    }
