"""The job sheet on paper: black and white, to be read at arm's length and written on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from handlap.cli.reports.flow import Flow, PageSetting, line_height
from handlap.cli.reports.paper_blocks import Blanks, TickTable
from handlap.cli.reports.pdf_page import PAPERS, Page, wrap, write_pdf
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
    SheetStage,
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
SETTING = PageSetting(
    margin=MARGIN, foot=MARGIN, text=FITS[0].text, head=13.0, cells=SMALL, above=1.6, below=0.8,
    rule=0.8, rule_at=-0.2, with_next=12.0, names=36.0, kept=True, apart=0.7, after=0.0,
)  # fmt: skip
COLUMNS = (
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
BANDS = (3, 5)
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
        self.new_page()

    def new_page(self) -> None:
        """A page; each but the first says what it belongs to."""
        super().new_page()
        self.y -= 3.0
        if len(self.pages) > 1:
            self.y = self.page.paragraph(MARGIN, self.y, self.sheet.subject, self.wide, SMALL) + 1.0

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
        self.put(FaceAndTurns(sheet, outline, self.fit.face))
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
            self.facts(sheet.stop)
        if sheet.dye:
            self.put(DotPictures("The dye at a check", dye_words(), sheet.dye, outline, self.fit))

    def write_in(self) -> None:
        """Lines for the part, the day and who works."""
        self.y += 2.6
        each, high = self.wide / len(WRITE_IN), line_height(self.set.text)
        names = tuple((name, k * each, (k + 1) * each - 4.0) for k, name in enumerate(WRITE_IN))
        self.put(Blanks(names, self.set.text, high, high + 1.0))

    def stage(self, stage: SheetStage) -> None:
        self.heading(f"Paper {stage.title}", 45.0)
        for fact in stage.facts:
            self.words(fact)
        self.y += 0.8
        units = {"unit": self.sheet.leaf_unit, "off": swarf_unit()}
        self.put(
            TickTable(
                heads=[(head.format(**units), wide) for head, wide in COLUMNS],
                written=[(name.format(**units), wide) for name, wide in zip(FOUND, FOUND_WIDE, strict=True)],
                over="found",
                rows=[
                    (r.strokes, r.turn, r.care, r.grams, f"{r.faded}, {r.gone}", r.leaf, r.goal, r.worse)
                    for r in stage.rows
                ],
                stacked=BANDS,
                count=BIG,
            )
        )
        notes = ["Dye put on at the check before, above: fading or gone; below: gone."]
        if any(row.block.spare for row in stage.rows):
            notes.append("In brackets: only if the goal is not met by then.")
        if stage.left_out:
            notes.append(
                f"{stage.left_out} checks between these are left out for room; do them all the same."
            )
        self.words(" ".join(notes), SMALL)


@dataclass(frozen=True)
class FaceAndTurns:
    """The face to scale with its stations, and beside it the round of turns; ``most``: its height [mm]."""

    sheet: JobSheet
    outline: Outline
    most: float

    def put(self, flow: Flow) -> None:
        """On one page."""
        sheet, outline, text, margin = self.sheet, self.outline, flow.set.text, flow.set.margin
        turns = 0.30 * flow.wide if sheet.turns else 0.0
        wide = flow.wide - turns - (6.0 if turns else 0.0)
        scale = face_size(outline, wide, self.most)
        high = scale * outline.width + 2.0 * SIDES + 1.0
        if turns:
            high = max(high, 0.6 * turns)
        flow.need(high + 3.2 * line_height(text) + 6.0)
        flow.y += 1.6
        top = flow.page.text(margin, flow.y, FACE_TITLE, text, bold=True) + 0.6
        draw_face(
            flow.page, outline, sheet.lines, margin + wide / 2.0, top + high / 2.0, scale,
            first=sheet.marked, deepest=sheet.deepest,
        )  # fmt: skip
        below = flow.page.paragraph(margin, top + high + 0.6, FACE_WORDS, wide, SMALL)
        if turns:
            left = margin + wide + 6.0
            flow.page.text(left, flow.y, TURN_TITLE, text, bold=True)
            draw_turns(flow.page, outline, sheet.turns, sheet.direction, left, top + 0.5, turns, high - 1.0)
            words = turn_words(sheet.turns)
            below = max(below, flow.page.paragraph(left, top + high + 0.6, words, turns, SMALL))
        flow.y = below + 1.2


@dataclass(frozen=True)
class DotPictures:
    """Pictures of dots under a heading, three beside one another: where dye is left, and how likely."""

    title: str
    words: str
    pictures: Sequence[DyeMarks]
    outline: Outline
    fit: Fit

    def put(self, flow: Flow) -> None:
        """Row by row, the titles of a row over it."""
        pictures = spread(self.pictures, 3 * self.fit.dyes)
        across, gap = min(3, len(pictures)), 5.0
        wide = (flow.wide - gap * 2) / 3.0
        high = wide * self.outline.width / self.outline.length
        if high > self.fit.picture:
            wide, high = wide * self.fit.picture / high, self.fit.picture
        room = (flow.wide - gap * (across - 1)) / across
        flow.heading(self.title, high + 12.0)
        flow.words(self.words)
        flow.y += 0.5
        for i in range(0, len(pictures), across):
            row = pictures[i : i + across]
            told = max(len(wrap(picture.title, room, SMALL)) for picture in row) * line_height(SMALL)
            flow.need(told + high + 1.0)
            for k, picture in enumerate(row):
                left = flow.set.margin + k * (room + gap)
                flow.page.paragraph(left, flow.y, picture.title, room, SMALL)
                _dots(flow.page, picture, self.outline, (left, flow.y + told + 0.5, wide, high))
            flow.y += told + high + 2.5


def _dots(page: Page, picture: DyeMarks, outline: Outline, place: tuple[float, float, float, float]) -> None:
    """One picture of dots; ``place``: left, upper edge, width and height."""
    x, top, wide, high = place
    middle = np.array([x + wide / 2.0, top + high / 2.0])
    scale = wide / outline.length * np.array([1.0, -1.0])
    page.polygon(middle + outline.rim * scale, 0.8)
    for opening in outline.openings:
        page.polygon(middle + opening * scale, 0.3)
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
            page.discs(*zip(*marks, strict=True), hollow=rings)


def spread(pictures: Sequence[DyeMarks], most: int) -> Sequence[DyeMarks]:
    """The first, the last and some between, where not all have room."""
    if len(pictures) <= most:
        return pictures
    return tuple(pictures[round(i * (len(pictures) - 1) / (most - 1))] for i in range(most))
