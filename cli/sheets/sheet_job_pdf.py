"""The job sheet on paper: black and white, to be read at arm's length and written on."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from handlap.cli.reports.flow import Flow, Setting, line_height
from handlap.cli.reports.pdf_page import PAPERS, POINT, text_width, wrap, write_pdf
from handlap.cli.sheets.sheet_face import SIDES, draw_face, draw_turns, face_size
from handlap.cli.sheets.sheet_job import (
    FACE_TITLE,
    FACE_WORDS,
    FOUND,
    LAP,
    TURN_TITLE,
    WRITE_IN,
    DyeMarks,
    JobSheet,
    Stage,
    dye_words,
    turn_words,
)
from handlap.sim.common.outline import Outline
from handlap.sim.common.spoken import swarf_unit

MARGIN = 11.0
BIG, SMALL = 12.0, 8.5
"""Sizes of letters: of the counts, 12 points are read at 70 cm; of heads and notes [pt]."""


class Fit(NamedTuple):
    """How closely a sheet is set: its one size of text [pt], most of face and of a dye picture [mm], rows of
    dye pictures."""

    text: float
    face: float
    picture: float
    dyes: int


FITS = (Fit(10.5, 78.0, 40.0, 2), Fit(10.0, 66.0, 34.0, 1), Fit(9.5, 56.0, 30.0, 1), Fit(9.0, 50.0, 26.0, 1))
"""From wide to tight: the first that goes on one sheet of paper, both sides of it."""
MOST_PAGES = 2
SETTING = Setting(
    margin=MARGIN, foot=MARGIN, text=FITS[0].text, head=13.0, cells=SMALL, above=1.6, below=0.8,
    rule=0.8, rule_at=-0.2, with_next=12.0,
)  # fmt: skip
TICK = 3.6
COLUMNS = (
    ("", 7.0),
    ("up to\nstroke", 16.0),
    ("turn\nat", 15.0),
    ("brush, new\nsheet at", 24.0),
    ("metal off,\n{off}", 22.0),
    ("dye, % of\nthe face", 20.5),
    ("leaf that\ngoes, {unit}", 20.0),
    ("met\n%", 9.5),
    ("next\nworse %", 15.0),
)
FOUND_WIDE = (15.0, 11.0, 0.0)
"""Columns to write in; the last takes what is left [mm]."""
BANDS = (4, 6)
"""Columns in which the range stands under its figure."""


def job_sheet_pdf(sheet: JobSheet, outline: Outline, paper: str = "A4") -> tuple[bytes, int]:
    """The sheet as PDF, and its number of pages."""
    for fit in FITS:
        maker = _Maker(sheet, *PAPERS[paper], fit)
        maker.fill(outline)
        if len(maker.pages) <= MOST_PAGES:
            break
    for i, page in enumerate(maker.pages, 1):
        y = page.height - MARGIN + 3.0
        page.text(MARGIN, y, sheet.cautions[-1] if sheet.cautions else "", 6.5)
        page.text(page.width - MARGIN, y, f"job sheet, page {i} of {len(maker.pages)}", 6.5, align="right")
    return write_pdf(maker.pages, f"Job sheet: {sheet.subject}"), len(maker.pages)


class _Maker(Flow):
    """The flow of a job sheet, set as closely as it has to be."""

    def __init__(self, sheet: JobSheet, width: float, height: float, fit: Fit) -> None:
        super().__init__(width, height, replace(SETTING, text=fit.text))
        self.fit, self.sheet = fit, sheet
        self.leading = line_height(fit.text)
        self.row = 1.86 * self.leading
        self.new_page()

    def new_page(self) -> None:
        """A page; each but the first says what it belongs to."""
        super().new_page()
        self.y -= 3.0
        if len(self.pages) > 1:
            self.y = self.page.paragraph(MARGIN, self.y, self.sheet.subject, self.wide, SMALL) + 1.0

    def words(self, text: str, size: float = 0.0, *, bold: bool = False, mark: str = "") -> None:
        """Wrapped text, all of it on one page."""
        size = size or self.fit.text
        indent = text_width(f"{mark} ", size) if mark else 0.0
        self.need(1.3 * POINT * size * len(wrap(text, self.wide - indent, size, bold)))
        super().words(text, size, bold=bold, mark=mark)

    def fill(self, outline: Outline) -> None:
        sheet = self.sheet
        self.words(f"Job sheet: {sheet.answer.lower()}", 18.0, bold=True)
        self.words(sheet.subject, BIG)
        self.words(f"Wanted: {sheet.wanted}.")
        self.write_in()
        if not sheet.stages or sheet.answer != LAP:
            for reason in sheet.reasons:
                self.words(reason, mark="–")
        # What can hurt is read before the first stroke.
        self.heading("Take care")
        for caution in sheet.cautions:
            self.words(caution, mark="–")
        self.face(outline)
        for item in sheet.first:
            self.words(item, mark="–")
        for stage in sheet.stages:
            self.stage(stage)
        if sheet.where:
            self.y += 1.0
            self.words(sheet.where)
        if sheet.stop:
            # What decides when to stop is kept together where it can be.
            self.heading("Stop if", 60.0)
            for name, rule in sheet.stop:
                self.rule(name, rule)
        if sheet.dye:
            self.dye(outline)

    def write_in(self) -> None:
        """Lines for the part, the day and who works."""
        self.y += 2.6
        each = self.wide / len(WRITE_IN)
        for k, name in enumerate(WRITE_IN):
            left = MARGIN + k * each
            self.page.text(left, self.y, name, self.fit.text)
            start = left + text_width(name, self.fit.text) + 1.5
            self.page.line(start, self.y + self.leading, left + each - 4.0, self.y + self.leading, 0.4)
        self.y += self.leading + 1.0

    def face(self, outline: Outline) -> None:
        """The face with its stations, and beside it the round of turns."""
        sheet = self.sheet
        turns = 0.30 * self.wide if sheet.turns else 0.0
        wide = self.wide - turns - (6.0 if turns else 0.0)
        scale = face_size(outline, wide, self.fit.face)
        high = scale * outline.width + 2.0 * SIDES + 1.0
        if turns:
            high = max(high, 0.6 * turns)
        self.need(high + 3.2 * self.leading + 6.0)
        self.y += 1.6
        top = self.page.text(MARGIN, self.y, FACE_TITLE, self.fit.text, bold=True) + 0.6
        draw_face(
            self.page, outline, sheet.lines, MARGIN + wide / 2.0, top + high / 2.0, scale,
            first=sheet.marked, deepest=sheet.deepest,
        )  # fmt: skip
        below = self.page.paragraph(MARGIN, top + high + 0.6, FACE_WORDS, wide, SMALL)
        if turns:
            left = MARGIN + wide + 6.0
            self.page.text(left, self.y, TURN_TITLE, self.fit.text, bold=True)
            draw_turns(self.page, outline, sheet.turns, sheet.direction, left, top + 0.5, turns, high - 1.0)
            below = max(
                below, self.page.paragraph(left, top + high + 0.6, turn_words(sheet.turns), turns, SMALL)
            )
        self.y = below + 1.2

    def rule(self, name: str, rule: str) -> None:
        left = 36.0
        size = self.fit.text
        lines = wrap(rule, self.wide - left, size)
        self.need(1.3 * POINT * size * len(lines))
        names = wrap(name, left - 2.0, size, True)
        top = self.y
        for i, part in enumerate(names):
            self.page.text(MARGIN, top + i * self.leading, part, size, bold=True)
        for line in lines:
            self.y = self.page.text(MARGIN + left, self.y, line, size)
        self.y += 0.7

    def stage(self, stage: Stage) -> None:
        self.heading(f"Paper {stage.title}", 45.0)
        for fact in stage.facts:
            self.words(fact)
        self.y += 0.8
        edges = _edges(self.wide)
        self.head(edges)
        for row in stage.rows:
            if self.row > self.left:
                self.new_page()
                self.head(edges)
            top, middle = self.y, self.y + self.row / 2.0
            self.page.box(MARGIN + 1.5, middle - TICK / 2.0, TICK, TICK, 0.8)
            cells = (row.turn, row.care, row.grams, f"{row.faded}, {row.gone}", row.leaf, row.goal, row.worse)
            self.page.text(MARGIN + edges[1] + 0.5, middle, row.strokes, BIG, bold=True, middle=True)
            for k, cell in enumerate(cells, 2):
                room = edges[k + 1] - edges[k] - 1.0
                self.cell(MARGIN + edges[k] + 0.5, middle, cell, room, under=k in BANDS)
            self.y = top + self.row
            self.page.line(MARGIN, self.y, MARGIN + self.wide, self.y, 0.35)
            for edge in edges[len(COLUMNS) :]:
                self.page.line(MARGIN + edge, top, MARGIN + edge, self.y, 0.35)
        notes = ["Dye put on at the check before, above: fading or gone; below: gone."]
        if any(row.block.spare for row in stage.rows):
            notes.append("In brackets: only if the goal is not met by then.")
        if stage.left_out:
            notes.append(
                f"{stage.left_out} checks between these are left out for room; do them all the same."
            )
        self.words(" ".join(notes), SMALL)

    def cell(self, x: float, middle: float, text: str, width: float, *, under: bool) -> None:
        """A cell in one line, or in two where it says two things: a figure and its range, two marks."""
        size = self.fit.text
        parts = [text]
        if under or text_width(text, size) > width:
            parts = text.split(", ", 1) if ", " in text else text.split(" ", 1)
        for i, part in enumerate(parts):
            at = middle + (i - 0.5 * (len(parts) - 1)) * 0.9 * self.leading
            self.page.text(x, at, part, _fit(part, width, size), middle=True)

    def head(self, edges: list[float]) -> None:
        self.need(10.0 + 3 * self.row)
        middle = MARGIN + 0.5 * (edges[len(COLUMNS)] + self.wide)
        self.page.text(middle, self.y, "found", SMALL, bold=True, align="center")
        labels = [label for label, _ in COLUMNS] + [f"\n{label}" for label in FOUND]
        for k, label in enumerate(labels):
            inset = 0.5 if k < len(COLUMNS) else 1.2
            for i, part in enumerate(
                label.replace("{unit}", self.sheet.leaf_unit).replace("{off}", swarf_unit()).split("\n")
            ):
                self.page.text(MARGIN + edges[k] + inset, self.y + 3.6 * i, part, SMALL, bold=True)
        self.y += 8.2
        for edge in edges[len(COLUMNS) :]:
            self.page.line(MARGIN + edge, self.y - 4.4, MARGIN + edge, self.y, 0.35)
        self.page.line(MARGIN, self.y, MARGIN + self.wide, self.y, 0.9)

    def dye(self, outline: Outline) -> None:
        pictures = _spread(self.sheet.dye, 3 * self.fit.dyes)
        across = min(3, len(pictures))
        gap = 5.0
        wide = (self.wide - gap * 2) / 3.0
        high = wide * outline.width / outline.length
        if high > self.fit.picture:
            wide, high = wide * self.fit.picture / high, self.fit.picture
        room = (self.wide - gap * (across - 1)) / across
        self.heading("The dye at a check", high + 12.0)
        self.words(dye_words())
        self.y += 0.5
        for i in range(0, len(pictures), across):
            row = pictures[i : i + across]
            told = max(len(wrap(picture.title, room, SMALL)) for picture in row) * line_height(SMALL)
            self.need(told + high + 1.0)
            for k, picture in enumerate(row):
                left = MARGIN + k * (room + gap)
                self.page.paragraph(left, self.y, picture.title, room, SMALL)
                self.picture(picture, outline, left, self.y + told + 0.5, wide, high)
            self.y += told + high + 2.5

    def picture(
        self, picture: DyeMarks, outline: Outline, x: float, top: float, wide: float, high: float
    ) -> None:
        middle = np.array([x + wide / 2.0, top + high / 2.0])
        scale = wide / outline.length * np.array([1.0, -1.0])
        self.page.polygon(middle + outline.rim * scale, 0.8)
        for opening in outline.openings:
            self.page.polygon(middle + opening * scale, 0.3)
        rows, columns = picture.left.shape
        cell = wide / columns, high / rows
        largest = 0.46 * min(cell)
        for rings in (False, True):
            marks = [
                (x + (i + 0.5) * cell[0], top + high - (j + 0.5) * cell[1], largest * size)
                for j, i, size, ring in picture.marks()
                if ring == rings
            ]
            if marks:
                self.page.discs(*zip(*marks, strict=True), hollow=rings)


def _spread(pictures: tuple[DyeMarks, ...], most: int) -> tuple[DyeMarks, ...]:
    """The first, the last and some between, where not all have room."""
    if len(pictures) <= most:
        return pictures
    return tuple(pictures[round(i * (len(pictures) - 1) / (most - 1))] for i in range(most))


def _edges(room: float) -> list[float]:
    """Left edges of the columns, those to write in last, and the right end [mm]."""
    edges = [0.0]
    for wide in [wide for _, wide in COLUMNS] + list(FOUND_WIDE[:-1]):
        edges.append(edges[-1] + wide)
    return [*edges, room]


def _fit(text: str, width: float, size: float) -> float:
    """The size, smaller where the text would not fit."""
    wide = text_width(text, size)
    return size if wide <= width else max(6.5, size * width / wide)
