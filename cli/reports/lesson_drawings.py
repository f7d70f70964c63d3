"""What the pictures of a lesson show, in letters: courses as rows of blocks, typical faces side by side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from handlap.cli.drawing.face_drawing import BLOCKS, face_drawing
from handlap.cli.drawing.face_drawing import SIDE as FACE_SIDE
from handlap.cli.reports.blocks import Drawing
from handlap.cli.reports.lesson_words import figure_words, has_course, same_start
from handlap.cli.reports.quantity import height, number
from handlap.cli.reports.text import wrapped
from handlap.cli.reports.wording import sentence
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.teaching.lesson import LessonResult

INDENT = "  "
SIDE = " " * len(FACE_SIDE)
FACE_COLUMNS, FACE_GAP = 20, 3
"""Width of a face in letters, and the room between two."""
MOST_FACES = 4
COURSE_CELLS = 24


def drawings(result: LessonResult, width: int) -> list[Drawing]:
    """What the pictures show, in letters: courses as rows of blocks, faces as a few rows each."""
    wanted = result.lesson.pictures
    found = []
    if "curve" in wanted and has_course(result):
        found.append(course_drawing(result, width))
    when = "after" if "after" in wanted else "before" if "before" in wanted else None
    if when and len(result.cases) <= MOST_FACES:
        found.append(faces_drawing(result, when, width))
    return found


def faces_drawing(result: LessonResult, when: str, width: int) -> Drawing:
    """The typical faces less their best planes, small, side by side where there is room, on one scale."""
    from handlap.cli.drawing.pictures import levelled

    alone = when == "before" and same_start(result)
    cases = result.cases[:1] if alone else result.cases
    faces = [levelled(case.grid, case.before if when == "before" else case.after) for case in cases]
    spans = [
        (float(f[: c.grid.n_cells].min()), float(f[: c.grid.n_cells].max()))
        for c, f in zip(cases, faces, strict=True)
    ]
    scale = min(low for low, _ in spans), max(high for _, high in spans)
    drawn = []
    for case, face in zip(cases, faces, strict=True):
        rows = face_drawing(case.grid, face, FACE_COLUMNS + len(SIDE), scale).lines[:-2]
        drawn.append(["" if alone else case.case.name, *(row[len(SIDE) :] for row in rows)])
    across = max(1, (width - len(SIDE) + FACE_GAP) // (FACE_COLUMNS + FACE_GAP))
    lines = wrapped(
        f"The typical face {when}{', the same in all cases' if alone else ''}, a taller block standing "
        f"prouder{'' if alone else ', all on one scale'}:",
        width,
        INDENT,
    )  # fmt: skip
    for start in range(0, len(drawn), across):
        lines += [""] * (start > 0) + _beside(drawn[start : start + across])
    low, high = (number(per_height() * end, 2) for end in scale)
    lines += wrapped(
        f"{BLOCKS[0]} {low} {height_unit()}   {BLOCKS[-1]} {high} {height_unit()}, from the best plane",
        width,
        SIDE,
    )
    told = "; ".join(
        f"{case.case.words} from {number(per_height() * a, 2)} to {height(b, 2)}"
        for case, (a, b) in zip(cases, spans, strict=True)
    )
    return Drawing(tuple(lines), f"The typical face {when}: {told}.")


def _beside(drawn: Sequence[Sequence[str]]) -> list[str]:
    """Faces beside one another, each with its name above, far and near at the left."""
    deep = max(map(len, drawn))
    lines = []
    for i in range(deep):
        cells = [face[i] if i < len(face) else "" for face in drawn]
        side = "  far   " if i == 1 else "  near  " if i == deep - 1 else SIDE
        lines.append(side + (" " * FACE_GAP).join(f"{cell[:FACE_COLUMNS]:<{FACE_COLUMNS}}" for cell in cells))
    return lines


def course_drawing(result: LessonResult, width: int) -> Drawing:
    """The middle course of each case as a row of blocks on one scale; its ends in figures."""
    words = figure_words(result.lesson.question.figure)
    followed = [case for case in result.cases if case.course is not None]
    middles = [words.factor * np.median(case.course, axis=0) for case in followed if case.course is not None]
    low, high = min(float(m.min()) for m in middles), max(float(m.max()) for m in middles)
    low = min(low, 0.0)
    last = max(int(case.strokes[-1]) for case in followed)
    unit = f" {words.unit}" if words.unit else ""
    cells = max(8, min(COURSE_CELLS, width - 52))
    lines = wrapped(
        f"{sentence(words.label).rstrip('.')} from 0 to {last} strokes, middle course, all on one scale:",
        width,
        "  ",
    )
    told = []
    for case, middle in zip(followed, middles, strict=True):
        strokes = np.asarray(case.strokes, dtype=float)
        at = np.linspace(0.0, last, cells)
        heights = np.interp(at, strokes, middle)
        row = "".join(
            " " if x > strokes[-1] + 0.5 * last / cells else _block(h, low, high)
            for x, h in zip(at, heights, strict=True)
        )
        least, most, end = (number(float(x), 2) for x in (middle.min(), middle.max(), middle[-1]))
        span = f"least {least}, greatest {most}, in the end {end}{unit}"
        lines += [*wrapped(case.case.words, width, "  "), f"    {row}  {span}"]
        told.append(f"{case.case.words}: {span}")
    return Drawing(tuple(lines), f"{words.label} over the strokes. " + "; ".join(told) + ".")


def _block(value: float, low: float, high: float) -> str:
    if high <= low:
        return BLOCKS[0]
    return BLOCKS[min(len(BLOCKS) - 1, int(len(BLOCKS) * (value - low) / (high - low)))]
