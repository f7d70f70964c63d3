"""What a class predicted and measured, from a table (CSV), held against the band of a lesson worked.

Columns: ``name``; ``prediction``, a letter or ``?``; and any number of measured ones, headed by a step of
the lesson (``step``: what is looked at, after the strokes of that step) or by a case and a figure,
``case.figure``, as it is at the end.  Numbers are plain, in the units of the screen (µm, g, %).  Fields are
parted by commas, or by semicolons with a decimal comma or point; empty fields are skipped.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.job.given_file import read_small_text
from handlap.sim.job.results import Band
from handlap.sim.teaching.lesson import Lesson, LessonResult
from handlap.sim.teaching.lesson_figures import FIGURES, SCREEN, Unit, band_of
from handlap.sim.teaching.lesson_texts import read_placeholder

LARGEST_FILE = 200_000
"""[bytes]"""
MOST_ROWS = 200
LETTERS = "abcdefghijklmnopqrstuvwxyz"
NAME, PREDICTION = "name", "prediction"
NO_PREDICTION = "?"


@dataclass(frozen=True)
class ClassTable:
    """What a class handed in.

    Attributes
    ----------
    predictions : index of the choice of each who predicted; None: "do not know"
    measured : by column, in the order of the table, values in the units of the screen
    """

    predictions: tuple[int | None, ...]
    measured: dict[str, tuple[float, ...]]


@dataclass(frozen=True)
class HeldColumn:
    """One measured column against the model's band: all in the units of the screen."""

    column: str
    words: str
    unit: Unit
    values: tuple[float, ...]
    band: Band

    @property
    def inside(self) -> int:
        """How many of the values lie in the band."""
        return sum(self.band.p05 <= value <= self.band.p95 for value in self.values)


def read_class(path: Path, lesson: Lesson) -> ClassTable:
    """A class's table.

    Raises
    ------
    ScenarioError : with all faults of the table, by their lines
    """
    lines = [
        line for line in read_small_text(path, LARGEST_FILE).lstrip("\ufeff").splitlines() if line.strip()
    ]
    comma = not lines or ";" not in lines[0]
    rows = list(csv.reader(lines, delimiter="," if comma else ";"))
    faults: list[Fault] = []
    heads = [head.strip() for head in rows[0]] if rows else []
    for head in heads:
        if head not in (NAME, PREDICTION):
            try:
                _column(head, lesson)
            except ValueError as error:
                faults.append(Fault(path.name, head, "", str(error)))
    if len(set(heads)) < len(heads) or not set(heads) - {NAME}:
        faults.append(Fault(path.name, "line 1", "", f"each head once, {_allowed(lesson)}"))
    if not 1 <= len(rows) - 1 <= MOST_ROWS:
        faults.append(Fault(path.name, "", "", f"1 to {MOST_ROWS} lines below the heads"))
    if faults:
        raise ScenarioError(faults)
    predictions: list[int | None] = []
    measured: dict[str, list[float]] = {head: [] for head in heads if head not in (NAME, PREDICTION)}
    for number, row in enumerate(rows[1:], 2):
        for head, raw in zip(heads, (cell.strip() for cell in row), strict=False):
            if not raw or head == NAME:
                continue
            try:
                if head == PREDICTION:
                    predictions.append(_prediction(raw, lesson))
                else:
                    measured[head].append(_number(raw if comma else raw.replace(",", ".")))
            except ValueError as error:
                faults.append(Fault(path.name, f"line {number}, {head}", raw[:40], str(error)))
    if faults:
        raise ScenarioError(faults)
    return ClassTable(tuple(predictions), {head: tuple(values) for head, values in measured.items()})


def held_against(table: ClassTable, result: LessonResult) -> tuple[HeldColumn, ...]:
    """Every measured column against the band of the lesson worked."""
    return tuple(_held(column, values, result) for column, values in table.measured.items() if values)


def _allowed(lesson: Lesson) -> str:
    steps = ", ".join(step.name for step in lesson.steps) or "none here"
    cases = ", ".join(case.name for case in lesson.cases)
    return (
        f"{NAME}, {PREDICTION}, a step ({steps}), or a case and a figure such as "
        f"{lesson.cases[0].name}.mass; cases here are {cases}"
    )


def _column(head: str, lesson: Lesson) -> None:
    if head in {step.name for step in lesson.steps}:
        return
    case, _, figure = head.partition(".")
    if case not in {c.name for c in lesson.cases} or figure not in FIGURES:
        raise ValueError(_allowed(lesson))


def _prediction(raw: str, lesson: Lesson) -> int | None:
    if raw == NO_PREDICTION:
        return None
    letters = LETTERS[: len(lesson.choices)]
    if len(raw) != 1 or raw.lower() not in letters:
        raise ValueError(f"one of {', '.join(letters)}, or {NO_PREDICTION}")
    return letters.index(raw.lower())


def _number(raw: str) -> float:
    try:
        value = float(raw)
    except ValueError:
        raise ValueError("a plain number") from None
    if not math.isfinite(value) or abs(value) > 1e6:
        raise ValueError("a plain number")
    return value


def _held(column: str, values: Sequence[float], result: LessonResult) -> HeldColumn:
    sized = next((s for s in result.steps if s.step.name == column), None)
    if sized is not None:
        unit = read_placeholder(sized.step.of, {c.case.name: c for c in result.cases}).unit
        words, band = sized.step.words, sized.expected
        if sized.strokes:
            words += f", after {sized.strokes} strokes"
    else:
        name, _, figure = column.partition(".")
        case = next(c for c in result.cases if c.case.name == name)
        unit, band = FIGURES[figure].unit, band_of(case.figures[figure])
        words = f"{FIGURES[figure].words.removeprefix('the ')}, {case.case.words}"
    scale = SCREEN[unit][1]
    shown = Band(scale * band.p05, scale * band.p50, scale * band.p95)
    return HeldColumn(column, words, unit, tuple(values), shown)
