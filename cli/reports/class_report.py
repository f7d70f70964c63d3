"""What a class predicted and measured, beside what the model says."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from handlap.cli.reports.blocks import Block, Picture, Report, Section, Table, Words
from handlap.cli.reports.lesson_report import headline, lead, letter, titled
from handlap.cli.reports.quantity import number
from handlap.sim.teaching.lesson import LessonResult
from handlap.sim.teaching.lesson_class import ClassTable, HeldColumn
from handlap.sim.teaching.lesson_figures import SCREEN

DOTS = "Dots: the class. Shaded: 90 hands of 100; line: the middle."
HOW_TO_READ = (
    "The model: the middle, and the range that holds 90 hands of 100. One in ten outside is as it should be; "
    "most of a class outside says that the model is wrong here, or the tool."
)


def class_lesson_report(
    result: LessonResult, table: ClassTable, held: Sequence[HeldColumn], pictures: Collection[str] = ()
) -> Report:
    """The class against the lesson; ``pictures``: names of those that there are."""
    sections = []
    right = sum(p is not None and p == result.answer.choice for p in table.predictions)
    said = []
    if table.predictions:
        rows = tuple(
            (letter(i), str(table.predictions.count(i)), choice.words)
            for i, choice in enumerate(result.lesson.choices)
        )
        rows += (("?", str(table.predictions.count(None)), "do not know"),)
        blocks: tuple[Block, ...] = (Table(("", "said", ""), rows, (0, 2), wraps=2),)
        if result.answer.choice is not None:
            said.append(f"{right} of {len(table.predictions)} predicted what holds.")
        sections.append(Section("Predictions", (*_shown("predicted.png", pictures, "Predictions."), *blocks)))
    if held:
        measured = tuple(_row(one) for one in held)
        heads = ("", "class", "model", "inside")
        shown = _shown("measured.png", pictures, DOTS)
        sections.append(
            Section("Measured", (*shown, Table(heads, measured, (0,), wraps=0), Words(HOW_TO_READ)))
        )
    return Report(
        "lesson",
        headline(result, None),
        "plain" if result.as_intended else "doubt",
        titled(result.lesson),
        (*lead(result, None), *said),
        tuple(sections),
    )


def _shown(name: str, pictures: Collection[str], caption: str) -> tuple[Picture, ...]:
    spoken = f"{caption} The table below has the figures."
    return (Picture(name, caption, spoken),) if name in pictures else ()


def _row(one: HeldColumn) -> tuple[str, str, str, str]:
    sign = SCREEN[one.unit][0]
    least, most = min(one.values), max(one.values)
    mine = number(least, 2) if least == most else f"{number(least, 2)} to {number(most, 2)}"
    band = f"{number(one.band.p50, 2)} ({number(one.band.p05, 2)} to {number(one.band.p95, 2)})"
    return one.words + (f", {sign}" if sign else ""), mine, band, f"{one.inside} of {len(one.values)}"
