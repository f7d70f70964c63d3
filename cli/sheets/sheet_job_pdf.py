"""The job sheet on paper: black and white, to be read at arm's length."""

from __future__ import annotations

import numpy as np

from handlap.cli.reports.pdf_page import PAPERS, Page, text_width, wrap, write_pdf
from handlap.cli.sheets.sheet_job import LAP, DyeMarks, JobSheet, Stage, dye_words
from handlap.sim.common.outline import Outline
from handlap.sim.common.spoken import swarf_unit

MARGIN = 11.0
BIG, TEXT, SMALL = 12.0, 10.5, 8.5
"""Sizes of letters; 12 points are read at 70 cm [pt]."""
FITS = ((8.6, 45.0), (7.8, 34.0), (7.0, 26.0))
"""Height of a row and most of a dye picture, wide to tight: the first that makes two pages [mm]."""
MOST_PAGES = 2
TICK = 3.6
COLUMNS = (
    ("", 8.0),
    ("up to\nstroke", 21.0),
    ("turn\nat", 25.0),
    ("brush, new\nsheet at", 36.0),
    ("metal off\nso far, {off}", 36.0),
    ("dye, % of\nthe face", 25.0),
    ("leaf that\ngoes, {unit}", 30.0),
    ("met\n%", 13.0),
    ("next\nworse %", 0.0),
)


def job_sheet_pdf(sheet: JobSheet, outline: Outline, paper: str = "A4") -> tuple[bytes, int]:
    """The sheet as PDF, and its number of pages."""
    for row, picture in FITS:
        maker = _Maker(sheet, *PAPERS[paper], row, picture)
        maker.fill(outline)
        if len(maker.pages) <= MOST_PAGES:
            break
    for i, page in enumerate(maker.pages, 1):
        y = page.height - MARGIN + 3.0
        page.text(MARGIN, y, sheet.cautions[-1] if sheet.cautions else "", 6.5)
        page.text(page.width - MARGIN, y, f"job sheet, page {i} of {len(maker.pages)}", 6.5, align="right")
    return write_pdf(maker.pages, f"Job sheet: {sheet.subject}"), len(maker.pages)


class _Maker:
    """Puts a sheet down from top to bottom, on as many pages as it takes."""

    def __init__(self, sheet: JobSheet, width: float, height: float, row: float, picture: float) -> None:
        self.row, self.most_picture = row, picture
        self.sheet, self.width, self.height = sheet, width, height
        self.pages: list[Page] = []
        self.y = 0.0
        self.new_page()

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def room(self) -> float:
        return self.width - 2 * MARGIN

    def new_page(self) -> None:
        self.pages.append(Page(self.width, self.height))
        self.y = MARGIN - 3.0
        if len(self.pages) > 1:
            self.y = self.page.paragraph(MARGIN, self.y, self.sheet.subject, self.room, SMALL) + 1.0

    def need(self, high: float) -> None:
        """Go to a new page where less than this is left."""
        if self.y + high > self.height - MARGIN:
            self.new_page()

    def words(self, text: str, size: float = TEXT, *, bold: bool = False, mark: str = "") -> None:
        indent = text_width(f"{mark} ", size) if mark else 0.0
        self.need(1.3 * 0.353 * size * len(wrap(text, self.room - indent, size, bold)))
        self.y = self.page.paragraph(MARGIN, self.y, text, self.room, size, bold=bold, mark=mark)

    def heading(self, text: str, with_next: float = 12.0) -> None:
        self.y += 2.0
        self.need(6.0 + with_next)
        self.y = self.page.text(MARGIN, self.y, text, 13.0, bold=True)
        self.page.line(MARGIN, self.y - 0.2, self.width - MARGIN, self.y - 0.2, 0.8)
        self.y += 0.8

    def fill(self, outline: Outline) -> None:
        sheet = self.sheet
        self.words(f"Job sheet: {sheet.answer.lower()}", 18.0, bold=True)
        self.words(sheet.subject, BIG)
        self.words(f"Wanted: {sheet.wanted}.", TEXT)
        if not sheet.stages or sheet.answer != LAP:
            for reason in sheet.reasons:
                self.words(reason, TEXT, mark="–")
        for item in sheet.first:
            self.words(item, TEXT, mark="–")
        for stage in sheet.stages:
            self.stage(stage)
        if sheet.where:
            self.y += 1.0
            self.words(sheet.where, TEXT)
        if sheet.stop:
            # What decides when to stop is kept together where it can be.
            self.heading("Stop if", 60.0)
            for name, rule in sheet.stop:
                self.rule(name, rule)
        if sheet.dye:
            self.dye(outline)
        self.heading("Take care")
        for caution in sheet.cautions:
            self.words(caution, 9.5, mark="–")

    def rule(self, name: str, rule: str) -> None:
        left = 38.0
        lines = wrap(rule, self.room - left, TEXT)
        self.need(1.3 * 0.353 * TEXT * len(lines))
        names = wrap(name, left - 2.0, TEXT, True)
        top = self.y
        for i, part in enumerate(names):
            self.page.text(MARGIN, top + i * 1.28 * 0.353 * TEXT, part, TEXT, bold=True)
        for line in lines:
            self.y = self.page.text(MARGIN + left, self.y, line, TEXT)
        self.y += 0.9

    def stage(self, stage: Stage) -> None:
        self.heading(f"Paper {stage.title}", 45.0)
        for fact in stage.facts:
            self.words(fact, TEXT)
        self.y += 0.8
        edges = _edges(self.room)
        self.head(edges)
        for row in stage.rows:
            if self.y + self.row > self.height - MARGIN:
                self.new_page()
                self.head(edges)
            dye = f"{row.faded}, {row.gone}"
            cells = (row.strokes, row.turn, row.care, row.grams, dye, row.leaf, row.goal, row.worse)
            top, middle = self.y, self.y + self.row / 2.0
            self.page.box(MARGIN + 1.5, middle - TICK / 2.0, TICK, TICK, 0.8)
            for k, cell in enumerate(cells, 1):
                self.cell(MARGIN + edges[k] + 1.0, middle, cell, edges[k + 1] - edges[k] - 2.0, bold=k == 1)
            self.y = top + self.row
            self.page.line(MARGIN, self.y, self.width - MARGIN, self.y, 0.35)
        notes = ["Dye put on at the check before, above: fading or gone; below: gone."]
        if any(row.block.spare for row in stage.rows):
            notes.append("In brackets: only if the goal is not met by then.")
        if stage.left_out:
            notes.append(
                f"{stage.left_out} checks between these are left out for room; do them all the same."
            )
        self.words(" ".join(notes), SMALL)

    def cell(self, x: float, middle: float, text: str, width: float, *, bold: bool) -> None:
        """A cell in one line, or in two small ones where it says two things."""
        parts = text.split(", ", 1) if text_width(text, BIG, bold) > 1.25 * width else [text]
        step = 0.42 * self.row
        for i, part in enumerate(parts):
            size = _fit(part, width, BIG if len(parts) == 1 else 9.5, bold)
            at = middle + (i - 0.5 * (len(parts) - 1)) * step
            self.page.text(x, at, part, size, bold=bold, middle=True)

    def head(self, edges: list[float]) -> None:
        self.need(10.0 + 3 * self.row)
        for k, (label, _) in enumerate(COLUMNS):
            for i, part in enumerate(
                label.replace("{unit}", self.sheet.leaf_unit).replace("{off}", swarf_unit()).split("\n")
            ):
                self.page.text(MARGIN + edges[k] + 1.0, self.y + 3.6 * i, part, SMALL, bold=True)
        self.y += 8.2
        self.page.line(MARGIN, self.y, self.width - MARGIN, self.y, 0.9)

    def dye(self, outline: Outline) -> None:
        pictures = self.sheet.dye
        across = min(3, len(pictures))
        gap = 5.0
        wide = (self.room - gap * 2) / 3.0
        high = wide * outline.width / outline.length
        if high > self.most_picture:
            wide, high = wide * self.most_picture / high, self.most_picture
        self.heading("The dye at a check", high + 12.0)
        self.words(
            dye_words(),
            9.5,
        )
        for i in range(0, len(pictures), across):
            self.need(high + 7.0)
            for k, picture in enumerate(pictures[i : i + across]):
                self.picture(picture, outline, MARGIN + k * (wide + gap), wide, high)
            self.y += high + 8.0

    def picture(self, picture: DyeMarks, outline: Outline, x: float, wide: float, high: float) -> None:
        top = self.page.text(x, self.y, picture.title, _fit(picture.title, wide, 9.0, False)) + 0.5
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


def _edges(room: float) -> list[float]:
    """Left edges of the columns and the right end [mm]; the fixed widths shrink to fit."""
    total = sum(wide for _, wide in COLUMNS)
    last = 16.0
    factor = (room - last) / total
    edges = [0.0]
    for _, wide in COLUMNS[:-1]:
        edges.append(edges[-1] + wide * factor)
    return [*edges, room]


def _fit(text: str, width: float, size: float, bold: bool) -> float:
    """The size, smaller where the text would not fit."""
    wide = text_width(text, size, bold)
    return size if wide <= width else max(6.5, size * width / wide)
