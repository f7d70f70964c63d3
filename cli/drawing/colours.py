"""One colour for one thing, in every picture and on every page.

Heights run over two arms about zero, blue below and brown above; their dark ends differ in
lightness and contour lines tell them apart in grey (broken below, full above).  Depth, dye,
pressure and doubt run over one arm each, from light to dark.  None leans on telling red from green.
"""

from __future__ import annotations

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
MARK = "#b3003c"
"""The one spot or moment pointed at."""

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
