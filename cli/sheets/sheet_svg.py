"""Drawings of a sheet for its page: the same lines in millimetres as on paper, as SVG in black and white."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from handlap.cli.drawing.colours import OPENING
from handlap.cli.reports.page import escape
from handlap.cli.reports.pdf_page import ASCENT, LEADING, POINT, arrow_head

FILLS = {"none": "none", "black": "#000", "white": "#fff"}


class Svg:
    """What is drawn as on :class:`handlap.cli.reports.pdf_page.Page`, as one element of a page."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.parts: list[str] = []

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 10.0,
        *,
        bold: bool = False,
        align: str = "left",
        middle: bool = False,
    ) -> float:
        """One line whose upper edge (or, with ``middle``, whose middle) is at y; returns its lower edge."""
        base = y + (0.36 if middle else ASCENT) * size * POINT
        anchor = {"left": "start", "center": "middle", "right": "end"}[align]
        weight = ' font-weight="700"' if bold else ""
        self.parts.append(
            f'<text x="{x:.2f}" y="{base:.2f}" font-size="{size * POINT:.2f}" text-anchor="{anchor}"{weight}>'
            f"{escape(text)}</text>"
        )
        return y + LEADING * size * POINT

    def line(
        self, x0: float, y0: float, x1: float, y1: float, width: float = 0.5, dash: Sequence[float] = ()
    ) -> None:
        """A line; ``width`` in points."""
        dashes = f' stroke-dasharray="{" ".join(f"{d * width * POINT:.2f}" for d in dash)}"' if dash else ""
        self.parts.append(
            f'<line x1="{x0:.2f}" y1="{y0:.2f}" x2="{x1:.2f}" y2="{y1:.2f}"{_pen(width)}{dashes}/>'
        )

    def box(
        self, x: float, y: float, wide: float, high: float, width: float = 0.5, fill: str = "none"
    ) -> None:
        """A rectangle."""
        self.polygon([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], width, fill)

    def polygon(self, points: ArrayLike, width: float = 0.8, fill: str = "none") -> None:
        """A closed polygon (n, 2)."""
        corners = " ".join(f"{x:.2f},{y:.2f}" for x, y in np.asarray(points))
        self.parts.append(f'<polygon points="{corners}"{_pen(width)}{_filled(fill)}/>')

    def disc(self, x: float, y: float, radius: float, fill: str = "black", width: float = 0.6) -> None:
        """A disc."""
        self.parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}"{_pen(width)}{_filled(fill)}/>')

    def arrow(self, x0: float, y0: float, x1: float, y1: float, size: float = 2.2) -> None:
        """A filled arrow head at (x1, y1) that comes from (x0, y0)."""
        self.polygon(arrow_head(x0, y0, x1, y1, size), 0.2, "black")

    def whole(self, label: str) -> str:
        """The drawing as one element, with words for who does not see it."""
        return (
            f'<svg viewBox="0 0 {self.width:.1f} {self.height:.1f}" role="img" aria-label="{escape(label)}">'
            + "".join(self.parts)
            + "</svg>"
        )


def _pen(width: float) -> str:
    return f' stroke="#000" stroke-width="{width * POINT:.2f}"' if width else ""


def _filled(fill: str) -> str:
    return ' fill="#000" fill-opacity=".11"' if fill == OPENING else f' fill="{FILLS[fill]}"'
