"""Pages to print, drawn in millimetres from their upper left corner, as one PDF of lines and letters.

Made without pyplot, without a date and without a version in it: the same sheet gives the same
bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, PathPatch, Polygon, Rectangle
from matplotlib.path import Path as Shape
from matplotlib.textpath import TextToPath
from numpy.typing import ArrayLike, NDArray

from handlap.cli.drawing.letters import FAMILY, font, printable

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of a sheet [mm] (ISO 216; ANSI/ASME Y14.1 A)."""
INCH = 25.4
POINT = INCH / 72.0
"""[mm]"""
LEADING = 1.28
"""Distance of two lines over the size of the letters."""
ASCENT = 0.92
"""Height of the first line over its base, in sizes of the letters."""
STYLE: Any = {"font.family": FAMILY, "pdf.fonttype": 42, "pdf.compression": 6}
INK = "black"


@cache
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a text [mm] in letters of ``size`` points."""
    letters = font(bold).copy()
    letters.set_size(size)
    wide, _, _ = TextToPath().get_text_width_height_descent(printable(text), letters, ismath=False)
    return float(wide) * POINT


def wrap(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """A text in lines of at most ``width`` [mm]; a word that is longer is broken."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        tried = f"{line} {word}" if line else word
        if text_width(tried, size, bold) <= width:
            line = tried
            continue
        if line:
            lines.append(line)
        while text_width(word, size, bold) > width and len(word) > 1:
            n = max(1, int(len(word) * width / text_width(word, size, bold)))
            while n > 1 and text_width(word[:n], size, bold) > width:
                n -= 1
            lines.append(word[:n])
            word = word[n:]
        line = word
    return [*lines, line] if line or not lines else lines


class Page:
    """One page; lengths in mm, x to the right and y down from the upper left corner.

    What is put on it is added as an artist: its limits are known, and to look for them anew with every patch
    and line takes a third of the time.
    """

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / INCH, height / INCH), facecolor="white")
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, width)
        self.axes.set_ylim(height, 0.0)
        self.axes.set_axis_off()

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
        self.axes.text(
            x,
            base,
            printable(text),
            fontsize=size,
            fontweight="bold" if bold else "normal",
            ha=align,
            va="baseline",
            color=INK,
            parse_math=False,
        )
        return y + LEADING * size * POINT

    def paragraph(
        self,
        x: float,
        y: float,
        text: str,
        width: float,
        size: float = 10.0,
        *,
        bold: bool = False,
        mark: str = "",
    ) -> float:
        """Wrapped text, with a mark before it if wanted; returns its lower edge."""
        indent = text_width(f"{mark} ", size) if mark else 0.0
        if mark:
            self.text(x, y, mark, size)
        for line in wrap(text, width - indent, size, bold):
            y = self.text(x + indent, y, line, size, bold=bold)
        return y

    def line(
        self, x0: float, y0: float, x1: float, y1: float, width: float = 0.5, dash: Sequence[float] = ()
    ) -> None:
        """A line; ``width`` in points."""
        style: Any = (0, tuple(dash)) if dash else "-"
        self.axes.add_artist(
            Line2D([x0, x1], [y0, y1], color=INK, lw=width, ls=style, solid_capstyle="butt", clip_on=False)
        )

    def box(
        self, x: float, y: float, wide: float, high: float, width: float = 0.5, fill: str = "none"
    ) -> None:
        """A rectangle."""
        self.axes.add_artist(Rectangle((x, y), wide, high, lw=width, edgecolor=INK, facecolor=fill))

    def polygon(
        self, points: ArrayLike, width: float = 0.8, fill: str = "none", hatch: str | None = None
    ) -> None:
        """A closed polygon (n, 2)."""
        self.axes.add_artist(
            Polygon(points, closed=True, lw=width, edgecolor=INK, facecolor=fill, hatch=hatch)
        )  # type: ignore[arg-type]

    def shape(self, shape: Shape, width: float = 0.8, fill: str = "none") -> None:
        """A path in mm of the page."""
        self.axes.add_artist(PathPatch(shape, lw=width, edgecolor=INK, facecolor=fill))

    def disc(self, x: float, y: float, radius: float, fill: str = INK, width: float = 0.6) -> None:
        """A disc."""
        self.axes.add_artist(Circle((x, y), radius, lw=width, edgecolor=INK, facecolor=fill))

    def discs(
        self, x: Sequence[float], y: Sequence[float], radius: Sequence[float], *, hollow: bool = False
    ) -> None:
        """Many black discs at once, or as many rings of the same size."""
        line = 0.2 * max(radius) if hollow else 0.0
        sizes = [(max(2.0 * r - line, 0.0) / POINT) ** 2 for r in radius]
        self.axes.scatter(
            x, y, s=sizes, linewidths=line / POINT, clip_on=False, facecolors="none" if hollow else INK,
            edgecolors=INK,
        )  # fmt: skip

    def pixels(self, x: float, y: float, wide: float, high: float, pixels: NDArray[np.float32]) -> None:
        """A picture (rows, columns, 3 or 4) with its upper left corner at (x, y)."""
        self.axes.imshow(pixels, extent=(x, x + wide, y + high, y), aspect="auto", interpolation="none")
        self.axes.set_xlim(0.0, self.width)
        self.axes.set_ylim(self.height, 0.0)

    def arrow(self, x0: float, y0: float, x1: float, y1: float, size: float = 2.2) -> None:
        """A filled arrow head at (x1, y1) that comes from (x0, y0)."""
        self.polygon(arrow_head(x0, y0, x1, y1, size), 0.2, INK)


def read_png(png: bytes) -> NDArray[np.float32]:
    """A PNG as pixels (rows, columns, 3 or 4), 0 to 1."""
    return np.asarray(imread(io.BytesIO(png), format="png"), dtype=np.float32)


def arrow_head(x0: float, y0: float, x1: float, y1: float, size: float) -> list[tuple[float, float]]:
    """Corners of an arrow head at (x1, y1) that comes from (x0, y0), ``size`` long."""
    long = max(1e-9, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
    a, b = (x1 - x0) / long, (y1 - y0) / long
    return [
        (x1, y1),
        (x1 - size * a - 0.35 * size * b, y1 - size * b + 0.35 * size * a),
        (x1 - size * a + 0.35 * size * b, y1 - size * b - 0.35 * size * a),
    ]


def write_pdf(pages: Sequence[Page], title: str) -> bytes:
    """The pages as one PDF."""
    stream = io.BytesIO()
    metadata: Any = {"Title": title, "Creator": "handlap", "Producer": "handlap", "CreationDate": None}
    with matplotlib.rc_context(STYLE), PdfPages(stream, metadata=metadata) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return stream.getvalue()
