"""A report as pages to print: the same blocks as on the terminal and in the browser, in one PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from handlap.cli.reports.blocks import Block, Bullets, Facts, Picture, Report, Table, Words
from handlap.cli.reports.pdf_page import LEADING, PAPERS, POINT, Page, read_png, text_width, wrap, write_pdf

MARGIN = 18.0
TITLE, HEAD, TEXT, SMALL = 17.0, 12.0, 9.5, 7.0
"""Sizes of letters [pt]."""
NAMES = 36.0
"""Width of the names of facts [mm]."""
GAP = 3.0
FOOT = (
    "The limits of the part's maker, local codes and a qualified machinist's judgement come before "
    "any number printed here."
)


NO_PICTURES: Mapping[str, bytes] = {}
HIGHEST = 95.0
"""Most of a picture [mm]."""


def report_pdf(
    report: Report, paper: str = "A4", pictures: Mapping[str, bytes] = NO_PICTURES
) -> tuple[bytes, int]:
    """The report as PDF, and its number of pages.

    Parameters
    ----------
    paper : "A4" or "Letter"
    pictures : PNG by the name it has in the report
    """
    flow = _Flow(*PAPERS[paper], pictures)
    flow.paragraph(report.answer, TITLE, bold=True)
    flow.paragraph(report.subject, TEXT)
    flow.skip(1.5)
    for item in report.lead:
        flow.paragraph(item, TEXT, mark="•")
    for section in report.sections:
        flow.heading(section.title)
        for block in section.blocks:
            flow.block(block)
    for number, page in enumerate(flow.pages, 1):
        y = page.height - MARGIN + 6.0
        page.text(MARGIN, y, FOOT, SMALL)
        page.text(page.width - MARGIN, y, f"{number} of {len(flow.pages)}", SMALL, align="right")
    return write_pdf(flow.pages, f"{report.answer}: {report.subject}"), len(flow.pages)


class _Flow:
    """Puts blocks down from top to bottom, on as many pages as it takes."""

    def __init__(self, width: float, height: float, pictures: Mapping[str, bytes]) -> None:
        self.size, self.pictures = (width, height), pictures
        self.pages: list[Page] = []
        self.y = 0.0
        self.new_page()

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def wide(self) -> float:
        return self.size[0] - 2.0 * MARGIN

    def new_page(self) -> None:
        self.pages.append(Page(*self.size))
        self.y = MARGIN

    def need(self, high: float) -> None:
        """Go to the next page if there is no room for so much [mm]."""
        if self.y + high > self.size[1] - MARGIN:
            self.new_page()

    def skip(self, high: float) -> None:
        self.y += high

    def heading(self, title: str) -> None:
        self.skip(3.0)
        self.need(20.0)
        self.y = self.page.text(MARGIN, self.y, title, HEAD, bold=True)
        self.page.line(MARGIN, self.y + 0.3, MARGIN + self.wide, self.y + 0.3, 0.6)
        self.skip(1.6)

    def paragraph(self, text: str, size: float, *, bold: bool = False, mark: str = "") -> None:
        indent = text_width(f"{mark} ", size) if mark else 0.0
        lines = wrap(text, self.wide - indent, size, bold)
        for place, line in enumerate(lines):
            self.need(_line(size))
            if mark and place == 0:
                self.page.text(MARGIN, self.y, mark, size)
            self.y = self.page.text(MARGIN + indent, self.y, line, size, bold=bold)

    def block(self, block: Block) -> None:
        match block:
            case Words(text):
                self.paragraph(text, TEXT)
                self.skip(1.0)
            case Bullets(items):
                for item in items:
                    self.paragraph(item, TEXT, mark="•")
            case Facts(rows):
                self.facts(rows)
            case Table():
                self.table(block)
            case Picture() if block.name in self.pictures:
                self.picture(block)

    def picture(self, picture: Picture) -> None:
        pixels = read_png(self.pictures[picture.name])
        rows, columns = pixels.shape[:2]
        wide = min(self.wide, HIGHEST * columns / rows)
        high = wide * rows / columns
        self.need(high + 2.0 * _line(SMALL))
        self.page.pixels(MARGIN, self.y, wide, high, pixels)
        self.skip(high + 1.0)
        self.paragraph(picture.caption, SMALL)
        self.skip(1.5)

    def facts(self, rows: Sequence[tuple[str, str]]) -> None:
        for name, text in rows:
            names = wrap(name, NAMES - 2.0, TEXT, True)
            lines = wrap(text, self.wide - NAMES, TEXT)
            self.need(_line(TEXT) * min(2, max(len(lines), len(names))))
            for place in range(max(len(names), len(lines))):
                self.need(_line(TEXT))
                if place < len(names):
                    self.page.text(MARGIN, self.y, names[place], TEXT, bold=True)
                if place < len(lines):
                    self.page.text(MARGIN + NAMES, self.y, lines[place], TEXT)
                self.skip(_line(TEXT))
        self.skip(1.0)

    def table(self, table: Table) -> None:
        columns = range(len(table.heads))
        wide = [
            max(
                *(text_width(line, TEXT, True) for line in table.heads[c].split("\n")),
                *(text_width(row[c], TEXT) for row in table.rows),
            )
            for c in columns
        ]
        over = sum(wide) + GAP * (len(wide) - 1) - self.wide
        if over > 0.0:
            # The column that gives way, or the widest.
            at = table.wraps if table.wraps is not None else max(columns, key=lambda c: wide[c])
            wide[at] = max(20.0, wide[at] - over)
        self.row([head.replace("\n", " ") for head in table.heads], wide, table.left, bold=True)
        self.page.line(MARGIN, self.y, MARGIN + self.wide, self.y, 0.4)
        self.skip(0.8)
        for row in table.rows:
            self.row(row, wide, table.left)
        self.skip(1.5)

    def row(
        self, cells: Sequence[str], wide: Sequence[float], left: Sequence[int], *, bold: bool = False
    ) -> None:
        wrapped = [wrap(cell, width + 0.1, TEXT, bold) for cell, width in zip(cells, wide, strict=True)]
        high = max(map(len, wrapped)) * _line(TEXT)
        self.need(high)
        x = MARGIN
        for c, (lines, width) in enumerate(zip(wrapped, wide, strict=True)):
            y = self.y
            for line in lines:
                at, align = (x, "left") if c in left else (x + width, "right")
                y = self.page.text(at, y, line, TEXT, bold=bold, align=align)
            x += width + GAP
        self.skip(high + 0.4)


def _line(size: float) -> float:
    """Height of a line [mm]."""
    return LEADING * size * POINT
