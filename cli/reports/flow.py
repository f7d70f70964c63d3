"""Words, tables and facts put down on paper from top to bottom, on as many pages as they take.

One flow for every kind of paper; a :class:`PageSetting` says how wide its margins are, how large its letters
and how far apart its blocks.  Lengths [mm] from the upper left corner, sizes of letters [pt].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from handlap.cli.reports.blocks import Block, Bullets, Facts, Table, Words
from handlap.cli.reports.pdf_page import LEADING, POINT, Page, read_png, text_width, wrap

GAP = 3.0
"""Between columns of a table [mm]."""
KEPT = 1.3
"""Room for a line of what is kept together, over the size of its letters."""


@dataclass(frozen=True)
class PageSetting:
    """How a kind of paper is set.

    Attributes
    ----------
    margin, foot : left, right and above; kept free below [mm]
    text, head, cells : sizes of letters: of text, of headings, in tables [pt]
    above, below : room over and under a heading [mm]
    rule : width of the line under a heading [pt]; 0: none
    rule_at : how far that lies under its words [mm]
    with_next : what has to have room under a heading [mm]
    rows : between two rows of a table [mm]
    names : width of the names of facts [mm]; 0: facts are items of a list
    broken : whether heads of tables are broken where they say, their lowest lines stand in line, and the
        first column gives way; else heads are wrapped, and the column gives way that the table says, or the
        widest
    least : of the column that gives way [mm]
    kept : whether a text is kept on one page
    apart, after : between two facts, and under the last of them [mm]
    caption : size of letters under a picture [pt]
    tallest : most height of a picture [mm]
    over, under : room over a picture, and under its caption [mm]
    to_caption : between a picture and its caption [mm]
    """

    margin: float
    foot: float
    text: float
    head: float
    cells: float
    above: float
    below: float
    rule: float
    rule_at: float
    with_next: float
    rows: float = 0.4
    names: float = 0.0
    broken: bool = False
    least: float = 20.0
    kept: bool = False
    apart: float = 0.0
    after: float = 1.0
    caption: float = 7.0
    tallest: float = 95.0
    over: float = 0.0
    under: float = 1.5
    to_caption: float = 1.0


class OnPaper(Protocol):
    """A block that only paper has: boxes to tick, lines to write on, what is drawn to scale."""

    def put(self, flow: Flow) -> None:
        """Put it down where the flow has come to, and move that on."""


class Flow:
    """Pages, and where on the last of them the next block comes to lie."""

    def __init__(self, width: float, height: float, setting: PageSetting) -> None:
        self.size, self.set = (width, height), setting
        self.pages: list[Page] = []
        self.y = height

    @property
    def page(self) -> Page:
        """The page that is being filled."""
        return self.pages[-1]

    @property
    def wide(self) -> float:
        """Width of the text [mm]."""
        return self.size[0] - 2.0 * self.set.margin

    @property
    def left(self) -> float:
        """Height that is left on this page [mm]."""
        return self.size[1] - self.set.foot - self.y

    def new_page(self) -> None:
        """Go on at the top of a new page."""
        self.pages.append(Page(*self.size))
        self.y = self.set.margin

    def need(self, high: float) -> None:
        """Go to the next page if there is no room for so much [mm]."""
        if not self.pages or high > self.left:
            self.new_page()

    def words(self, text: str, size: float = 0.0, *, bold: bool = False, mark: str = "") -> None:
        """Wrapped text, with a mark before it if wanted; it may go on over the page."""
        size, margin = size or self.set.text, self.set.margin
        indent = text_width(f"{mark} ", size) if mark else 0.0
        lines = wrap(text, self.wide - indent, size, bold)
        if self.set.kept:
            self.need(KEPT * POINT * size * len(lines))
        for place, line in enumerate(lines):
            self.need(line_height(size))
            if mark and place == 0:
                self.page.text(margin, self.y, mark, size)
            self.y = self.page.text(margin + indent, self.y, line, size, bold=bold)

    def heading(self, text: str, with_next: float | None = None) -> None:
        """A heading, on the same page as what has to stand under it [mm]."""
        how = self.set
        self.y += how.above
        self.need(6.0 + (how.with_next if with_next is None else with_next))
        self.y = self.page.text(how.margin, self.y, text, how.head, bold=True)
        if how.rule:
            y = self.y + how.rule_at
            self.page.line(how.margin, y, how.margin + self.wide, y, how.rule)
        self.y += how.below

    def block(self, block: Block) -> None:
        """A block of a report; pictures are for those who have them."""
        match block:
            case Words(text):
                self.words(text)
                self.y += 1.0
            case Bullets(items):
                for item in items:
                    self.words(item, mark="•")
            case Facts(rows) if self.set.names:
                self.facts(rows)
            case Facts(rows):
                for name, text in rows:
                    self.words(f"{name}: {text}", mark="•")
                self.y += 1.0
            case Table():
                self.table(block)

    def put(self, *blocks: OnPaper) -> None:
        """Blocks that only paper has."""
        for block in blocks:
            block.put(self)

    def picture(self, png: bytes, caption: str) -> None:
        """A picture as wide as the text or as high as is allowed, with its caption below."""
        how, pixels = self.set, read_png(png)
        rows, columns = pixels.shape[:2]
        wide = min(self.wide, how.tallest * columns / rows)
        high = wide * rows / columns
        told = line_height(how.caption) * len(wrap(caption, self.wide, how.caption))
        self.need(how.over + high + how.to_caption + told)
        self.y += how.over
        self.page.pixels(how.margin, self.y, wide, high, pixels)
        self.y += high + how.to_caption
        self.words(caption, how.caption)
        self.y += how.under

    def facts(self, rows: Sequence[tuple[str, str]]) -> None:
        """Names in bold letters, and beside them what is said of each."""
        size, margin, beside = self.set.text, self.set.margin, self.set.names
        high = line_height(size)
        for name, text in rows:
            names = wrap(name, beside - 2.0, size, True)
            lines = wrap(text, self.wide - beside, size)
            most = max(len(lines), len(names))
            self.need(KEPT * POINT * size * most if self.set.kept else high * min(2, most))
            for place in range(max(len(names), len(lines))):
                self.need(high)
                if place < len(names):
                    self.page.text(margin, self.y, names[place], size, bold=True)
                if place < len(lines):
                    self.page.text(margin + beside, self.y, lines[place], size)
                self.y += high
            self.y += self.set.apart
        self.y += self.set.after

    def table(self, table: Table) -> None:
        """A table; the column that gives way is wrapped."""
        columns, size, margin = range(len(table.heads)), self.set.cells, self.set.margin
        wide = [
            max(
                *(text_width(line, size, True) for line in table.heads[c].split("\n")),
                *(text_width(row[c], size) for row in table.rows),
            )
            for c in columns
        ]
        over = sum(wide) + GAP * (len(wide) - 1) - self.wide
        if self.set.broken:
            wide[0] = max(self.set.least, wide[0] - max(0.0, over))
            heads = [head.split("\n") for head in table.heads]
        else:
            if over > 0.0:
                at = table.wraps if table.wraps is not None else max(columns, key=lambda c: wide[c])
                wide[at] = max(self.set.least, wide[at] - over)
            heads = self._wrapped([head.replace("\n", " ") for head in table.heads], wide, bold=True)
        self._row(heads, wide, table.left, bold=True)
        self.page.line(margin, self.y, margin + self.wide, self.y, 0.4)
        self.y += 0.8
        for row in table.rows:
            self._row(self._wrapped(row, wide), wide, table.left)
        self.y += 1.5

    def _wrapped(self, cells: Sequence[str], wide: Sequence[float], *, bold: bool = False) -> list[list[str]]:
        return [wrap(cell, w + 0.1, self.set.cells, bold) for cell, w in zip(cells, wide, strict=True)]

    def _row(
        self,
        cells: Sequence[Sequence[str]],
        wide: Sequence[float],
        left: Sequence[int],
        *,
        bold: bool = False,
    ) -> None:
        size = self.set.cells
        high = max(map(len, cells)) * line_height(size)
        self.need(high)
        x = self.set.margin
        for c, (lines, width) in enumerate(zip(cells, wide, strict=True)):
            lowest = high - len(lines) * line_height(size) if bold and self.set.broken else 0.0
            y = self.y + lowest
            for line in lines:
                at, align = (x, "left") if c in left else (x + width, "right")
                y = self.page.text(at, y, line, size, bold=bold, align=align)
            x += width + GAP
        self.y += high + self.set.rows


def line_height(size: float) -> float:
    """Height of a line of letters of that size [mm]."""
    return LEADING * size * POINT
