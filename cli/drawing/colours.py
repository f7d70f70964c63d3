"""One colour for one thing, in every picture and on every page.

Heights run over two arms about zero, blue below and brown above; their dark ends differ in
lightness and contour lines tell them apart in grey (broken below, full above).  Depth, dye,
pressure and doubt run over one arm each, from light to dark.  None leans on telling red from green.
Whatever is drawn over a map keeps a rim of paper white, or is white where the map is dark.

``tests/test_colours.py`` holds all of them against simulated colour blindness and in grey.
"""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.colors import LinearSegmentedColormap

INK = "#22262b"
FAINT = "#8b9097"
GROUND = "#ffffff"
RULE = "#d9dce0"

FLATNESS = "#1f4e79"
"""Flatness curves: full line, filled band."""
STRAIGHTEDGE = "#5b8fb9"
"""Straightedge curves: dotted."""
REMOVED = "#8a5a00"
"""Depth curves: full line, filled band."""
LIMIT = "#22262b"
"""Limits: broken."""
MARK = "#cc2954"
"""The one spot or moment pointed at; bright enough to be told from ink by who sees no red."""
CASES = (FLATNESS, "#c46a00", "#5a4fb0", INK, FAINT, STRAIGHTEDGE)
"""Cases tried side by side, dark and light in turn; each has its own line style and mark as well."""

QUIET, FRAME, HAIR = "#4a5057", "#b9bec4", "#e2e5e8"
"""On pages: words of second rank, frames and rules, lines between rows."""
NIGHT, NIGHT_INK, NIGHT_QUIET, NIGHT_FRAME, NIGHT_HAIR = "#15181c", "#e4e7ea", "#b3bac2", "#59616a", "#333940"
"""On pages in the dark: ground, letters, words of second rank, frames and rules, lines between rows."""
OPENING = "#e4e4e4"
"""On sheets of paper: openings."""
PRESSED = "#163a5a"
"""On pages: a button under the pointer."""

HEIGHT = LinearSegmentedColormap.from_list(
    "handlap height", ["#12305c", "#4f7fb3", "#b9cfe2", "#f7f5ef", "#f0cd9b", "#d0923f", "#9a5b12"]
)
DEPTH = LinearSegmentedColormap.from_list(
    "handlap depth", ["#fbf6e9", "#f0dba6", "#d3a75a", "#9b6a26", "#57350c"]
)
DYE = LinearSegmentedColormap.from_list("handlap dye", ["#f4f2ee", "#a9a3d6", "#5a4fb0", "#2a1f7a"])
PRESSURE = LinearSegmentedColormap.from_list(
    "handlap pressure", ["#f2f6f4", "#aed6cc", "#4b9c93", "#17615f", "#082e33"]
)
DOUBT = LinearSegmentedColormap.from_list("handlap doubt", ["#f7f7f7", "#b5bcc4", "#6b747e", "#2f363d"])


BENCH_PAGE = {
    "ground": ("#f3efe6", "#14171a"),
    "ink": ("#1b1d1f", "#efe9dc"),
    "faint": ("#55524a", "#b3ac9d"),
    "line": ("#8d877a", "#6f6a60"),
    "sheet": ("#fffdf7", "#1e2327"),
    "act": ("#12504d", "#86d6cb"),
    "on-act": ("#ffffff", "#0c2422"),
    "due": ("#ffd27a", "#ffca63"),
    "on-due": ("#2a1c00", "#241800"),
    "stop": ("#8f1d1d", "#ff9c8f"),
    "on-stop": ("#ffffff", "#2b0703"),
    "metal": ("#cdd3d6", "#48525a"),
    "mark": ("#9a1f1f", "#ffab9e"),
    "dye-full": ("#173a8a", "#173a8a"),
    "on-dye-full": ("#ffffff", "#ffffff"),
    "dye-fading": ("#8fb0f2", "#8fb0f2"),
    "on-dye-fading": ("#0c1b3d", "#0c1b3d"),
    "dye-gone": ("#d8dde2", "#d8dde2"),
    "on-dye-gone": ("#1b1d1f", "#1b1d1f"),
}
"""Colours of the page for the bench by what they are for, in the light and in the dark."""


def lightness(rgb: Sequence[float]) -> float:
    """Lightness L* of an sRGB colour with parts 0 … 1 (CIE 1976; IEC 61966-2-1).

    >>> round(lightness((1.0, 1.0, 1.0))), round(lightness((0.0, 0.0, 0.0)))
    (100, 0)
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb[:3]]
    luminance = sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return 116.0 * luminance ** (1 / 3) - 16.0 if luminance > (6 / 29) ** 3 else luminance * (29 / 3) ** 3


def line_over(rgb: Sequence[float]) -> str:
    """Ink or paper white, whichever stands out more from a colour of a map."""
    return INK if lightness(rgb) > LIGHT_ENOUGH else GROUND


LIGHT_ENOUGH = 57.0
"""Lightness half way between ink and paper white."""
