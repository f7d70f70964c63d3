"""Blocks that only paper has: boxes to tick, lines to write on, tables worked down line by line.

Lengths [mm], sizes of letters [pt].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handlap.cli.reports.flow import Flow, line_height
from handlap.cli.reports.pdf_page import Page, text_width, wrap

SMALLEST = 6.5
"""Letters of a cell are made no smaller than this to fit it."""


def tick_box(page: Page, x: float, y: float, side: float, width: float = 0.8) -> None:
    """A box to tick, its upper left corner at (x, y)."""
    page.box(x, y, side, side, width)


@dataclass(frozen=True)
class Blanks:
    """Names beside one another, each with a line to write on.

    Attributes
    ----------
    names : with where they begin and where their lines end, from the margin
    size : of the letters
    line : of the lines under the upper edge of the words
    high : of the whole
    pad : between a name and its line
    pen : of the lines [pt]
    """

    names: Sequence[tuple[str, float, float]]
    size: float
    line: float
    high: float
    pad: float = 1.5
    pen: float = 0.4

    def put(self, flow: Flow) -> None:
        """Side by side, from where the flow has come to."""
        left, y = flow.set.margin, flow.y + self.line
        for name, start, end in self.names:
            flow.page.text(left + start, flow.y, name, self.size)
            begin = left + start + text_width(name, self.size) + self.pad
            flow.page.line(begin, y, left + end, y, self.pen)
        flow.y += self.high


@dataclass(frozen=True)
class WritingLines:
    """Lines to write on across the page, as many as there is room for, ``most`` at most and one at least."""

    apart: float
    most: int
    pen: float = 0.35

    def put(self, flow: Flow) -> None:
        """From where the flow has come to, to the foot of the page at most."""
        left = flow.set.margin
        for _ in range(max(1, min(self.most, math.floor(flow.left / self.apart)))):
            flow.y += self.apart
            flow.page.line(left, flow.y, left + flow.wide, flow.y, self.pen)


@dataclass(frozen=True)
class TickChoice:
    """A box to tick, a letter, and what it stands for."""

    letter: str
    words: str
    tick: float = 4.2
    after: float = 2.0

    @property
    def indent(self) -> float:
        """Where the words begin."""
        return self.tick + 9.0

    def high(self, flow: Flow) -> float:
        """Of the whole."""
        size = flow.set.text
        return line_height(size) * len(wrap(self.words, flow.wide - self.indent, size)) + self.after

    def put(self, flow: Flow) -> None:
        """On one page."""
        size, margin = flow.set.text, flow.set.margin
        flow.need(self.high(flow) - self.after)
        tick_box(flow.page, margin, flow.y + 0.1, self.tick)
        flow.page.text(margin + self.tick + 2.5, flow.y, self.letter, size, bold=True)
        for line in wrap(self.words, flow.wide - self.indent, size):
            flow.y = flow.page.text(margin + self.indent, flow.y, line, size)
        flow.y += self.after


@dataclass(frozen=True)
class TickTable:
    """A table worked down line by line: a box to tick, a count in large letters, figures, and room to write.

    Attributes
    ----------
    heads : of the figures after the box, two lines each, and how wide their columns are
    written : … of the columns to write in; the last takes what is left
    over : what stands over these
    rows : cells of the figures, the count first
    stacked : columns, the count being 0, whose range stands under its figure
    count : size of the letters of the counts
    tick : side of the box
    """

    heads: Sequence[tuple[str, float]]
    written: Sequence[tuple[str, float]]
    over: str
    rows: Sequence[Sequence[str]]
    stacked: Sequence[int]
    count: float
    box: float = 7.0
    tick: float = 3.6
    row: float = 1.86
    """Height of a row over that of a line."""

    def put(self, flow: Flow) -> None:
        """Rows on as many pages as they take, heads on each."""
        left, row = flow.set.margin, self.row * line_height(flow.set.text)
        edges = self._edges(flow.wide)
        free = edges[len(self.heads) + 1 :]
        self._head(flow, edges, free, row)
        for cells in self.rows:
            if row > flow.left:
                flow.new_page()
                self._head(flow, edges, free, row)
            top, middle = flow.y, flow.y + row / 2.0
            tick_box(flow.page, left + 1.5, middle - self.tick / 2.0, self.tick)
            flow.page.text(left + edges[1] + 0.5, middle, cells[0], self.count, bold=True, middle=True)
            for k, cell in enumerate(cells[1:], 1):
                room = edges[k + 2] - edges[k + 1] - 1.0
                self._cell(flow, left + edges[k + 1] + 0.5, middle, cell, room, under=k in self.stacked)
            flow.y = top + row
            flow.page.line(left, flow.y, left + flow.wide, flow.y, 0.35)
            for edge in free:
                flow.page.line(left + edge, top, left + edge, flow.y, 0.35)

    def _edges(self, room: float) -> list[float]:
        """Left edges of the columns, the box first and those to write in last, and the right end."""
        edges = [0.0, self.box]
        for _, wide in (*self.heads, *self.written[:-1]):
            edges.append(edges[-1] + wide)
        return [*edges, room]

    def _cell(self, flow: Flow, x: float, middle: float, text: str, width: float, *, under: bool) -> None:
        """A cell in one line, or in two where it says two things: a figure and its range, two marks."""
        size = flow.set.text
        parts = [text]
        if under or text_width(text, size) > width:
            parts = text.split(", ", 1) if ", " in text else text.split(" ", 1)
        for i, part in enumerate(parts):
            at = middle + (i - 0.5 * (len(parts) - 1)) * 0.9 * line_height(size)
            flow.page.text(x, at, part, fitted(part, width, size), middle=True)

    def _head(self, flow: Flow, edges: Sequence[float], free: Sequence[float], row: float) -> None:
        flow.need(10.0 + 3 * row)
        page, left, size = flow.page, flow.set.margin, flow.set.cells
        page.text(left + 0.5 * (free[0] + flow.wide), flow.y, self.over, size, bold=True, align="center")
        labels = [(label, 0.5) for label, _ in self.heads] + [
            (f"\n{label}", 1.2) for label, _ in self.written
        ]
        for edge, (label, inset) in zip(edges[1:], labels, strict=False):
            for i, part in enumerate(label.split("\n")):
                page.text(left + edge + inset, flow.y + 3.6 * i, part, size, bold=True)
        flow.y += 8.2
        for edge in free:
            page.line(left + edge, flow.y - 4.4, left + edge, flow.y, 0.35)
        page.line(left, flow.y, left + flow.wide, flow.y, 0.9)


def fitted(text: str, width: float, size: float) -> float:
    """The size, smaller where the text would not fit."""
    wide = text_width(text, size)
    return size if wide <= width else max(SMALLEST, size * width / wide)
