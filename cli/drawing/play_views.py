"""What a followed lap shows: its maps with one scale for all frames and ways, its figures in words.

The page and the moving picture are both made from this, so that they cannot differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import Colormap

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import LEAST_SCALE
from handlap.cli.drawing.dye_drawing import DYE_STATES
from handlap.cli.drawing.pictures import levelled
from handlap.cli.reports.blocks import together
from handlap.cli.reports.lap_report import CLOSE
from handlap.cli.reports.quantity import number, share, stated
from handlap.cli.reports.wording import FINEST, place
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import height_unit, per, per_height, per_swarf, swarf_unit, unit

if TYPE_CHECKING:
    from handlap.sim.job.scenario import Part
    from handlap.sim.teaching.frames import Followed, FollowedWay, Frames

KILO = 1e-3
NEARLY_ALL = 99.0
"""Pressures above this percentile of the face, in the frame where it is highest, share the darkest
colour: a corner that alone carries the part would leave all else pale."""
NICE = (1.0, 1.2, 1.6, 2.0, 2.4, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
EVEN = 0.02
ROUNDING = 1.0 + 1e-3


@dataclass(frozen=True)
class Scale:
    """From a quantity to a colour, the same in every frame and way.

    ``root``: the colour goes with the square root of the quantity, for what runs over many sizes;
    ``over``: there are values beyond ``high``, which get its colour; ``names``: of its ends and its
    middle, where it has these three values only.
    """

    low: float
    high: float
    unit: str
    root: bool = False
    over: bool = False
    names: tuple[str, str, str] | None = None

    def share_of(self, values: Array) -> Array:
        """Place of values on the scale, 0 to 1."""
        part = np.clip((values - self.low) / (self.high - self.low), 0.0, 1.0)
        return np.sqrt(part) if self.root else part

    def ticks(self) -> tuple[str, str, str]:
        """What stands at the two ends and the middle of the scale."""
        if self.names is not None:
            return self.names
        middle = self.low + (self.high - self.low) * (0.25 if self.root else 0.5)
        more = " and over" if self.over else ""
        return stated(self.low), stated(middle), f"{stated(self.high)} {self.unit}{more}"


@dataclass(frozen=True)
class MapView:
    """One map: its key, its heading, a line on how to read it, its colours and scale."""

    key: str
    title: str
    hint: str
    colours: Colormap
    scale: Scale


def nice_above(value: float) -> float:
    """The least round number not under a value.

    >>> nice_above(31.6), nice_above(0.07), nice_above(1.0)
    (40.0, 0.08, 1.0)
    """
    if not value > 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(f"{n * power:.6g}" for n in NICE if n * power >= value * (1.0 - 1e-9)))


def views_of(followed: Followed) -> tuple[MapView, ...]:
    """The four maps, with scales that hold all frames of all ways."""
    frames = [way.frames for way in followed.ways]
    pressures = [per("pressure") * f.pressure for f in frames]
    top = nice_above(max(float(np.percentile(p, NEARLY_ALL, axis=1).max()) for p in pressures))
    deepest = max(float(map_of(way, "removed", -1).max()) for way in followed.ways)
    # The start is the same face for all, and nearly always the furthest from flat.
    tall = max(float(np.abs(map_of(way, "height", i)).max()) for way in followed.ways for i in (0, -1))
    tall = nice_above(max(tall, LEAST_SCALE))
    return (
        MapView(
            "dye",
            "Dye",
            "dark: full; half way: fading; light: gone",
            colours.DYE,
            Scale(0.0, 1.0, "", names=DYE_STATES),
        ),
        MapView(
            "pressure",
            "Pressure now",
            "dark: hard; arrow: away from you",
            colours.PRESSURE,
            Scale(
                0.0,
                top,
                unit("pressure"),
                root=True,
                over=max(float(p.max()) for p in pressures) > ROUNDING * top,
            ),
        ),
        MapView(
            "removed",
            "Metal off so far",
            "dark: much has gone",
            colours.DEPTH,
            Scale(0.0, nice_above(max(deepest, LEAST_SCALE)), height_unit()),
        ),
        MapView(
            "height",
            "The face now",
            "brown: proud; blue: low",
            colours.HEIGHT,
            Scale(-tall, tall, height_unit()),
        ),
    )


def map_of(way: FollowedWay, key: str, frame: int) -> Array:
    """The map (cells,) of a view in one frame, in the unit of its scale."""
    frames, cells = way.frames, way.lap.grid.n_cells
    found: Array
    if key == "dye":
        found = frames.dye[frame]
    elif key == "pressure":
        found = KILO * frames.pressure[frame]
    elif key == "removed":
        found = per_height() * (frames.heights[0] - frames.heights[frame])[:cells]
    else:
        found = per_height() * levelled(way.lap.grid, frames.heights[frame])[:cells]
    return found


def rows_of_figures() -> tuple[tuple[str, str], ...]:
    """Rows of the table of figures, with their units."""
    return (
        ("flatness", height_unit()),
        ("straightedge", height_unit()),
        ("off on average", height_unit()),
        ("off at the deepest", height_unit()),
        ("metal off", swarf_unit()),
        ("dye fading or gone", "%"),
        ("dye gone", "%"),
    )


def figures_of(frames: Frames, i: int) -> tuple[str, ...]:
    """The figures of one frame in the order of :func:`rows_of_figures`, with the digits of ``simulate``."""
    f = frames.figures
    heights = (f.flatness[i], f.straightedge[i], f.mean_depth[i], f.greatest_depth[i])
    return (
        *(number(per_height() * h, CLOSE, FINEST) for h in heights),
        number(per_swarf() * frames.mass[i], CLOSE),
        f"{100 * frames.dye_faded[i]:.0f}",
        f"{100 * (1.0 - frames.dye_share[i]):.0f}",
    )


def said(height: float) -> str:
    """A height as one says it aloud.

    >>> said(116.13e-6), said(61.44e-6), said(0.42e-6)
    ('116 µm', '61 µm', '0.4 µm')
    """
    micron = per_height() * height
    return f"{number(micron, 3 if micron >= 100.0 else 2, 0.1)} {height_unit()}"


def dye_words(frames: Frames, i: int) -> str:
    """The dye of one frame in words."""
    return f"fading or gone on {share(frames.dye_faded[i])}, gone on {share(1.0 - frames.dye_share[i])}"


def renewed_words(frames: Frames, i: int) -> str:
    """That the dye seen is not the first, and since when; nothing where it is."""
    before = np.flatnonzero(frames.dyed_again[:i])
    return f"; put on anew after {int(frames.strokes[before[-1]])} strokes" if before.size else ""


def sentence_of(frames: Frames, i: int) -> str:
    """One frame in words, without the count of strokes."""
    f = frames.figures
    again = ", and dye is put on again" if frames.dyed_again[i] else ""
    return together(
        f"flatness {said(f.flatness[i])}, straightedge {said(f.straightedge[i])}, "
        f"{said(f.mean_depth[i])} off on average, {said(f.greatest_depth[i])} at the deepest, "
        f"dye {dye_words(frames, i)}{again}"
    )


def captions_of(way: FollowedWay, part: Part, i: int) -> dict[str, str]:
    """What each view shows in one frame, in a few words."""
    frames, f = way.frames, way.frames.figures
    again = "; put on again here" if frames.dyed_again[i] else ""
    pressure, removed = map_of(way, "pressure", i), map_of(way, "removed", i)
    area = way.lap.grid.area[: pressure.size]
    mean = float(pressure @ area / area.sum())
    words = {
        "dye": f"{dye_words(frames, i)}{renewed_words(frames, i)}{again}",
        "pressure": f"{number(float(pressure.max()), 2)} {unit('pressure')} at most, "
        f"{_where(way, part, pressure)}; "
        f"{number(mean, 2)} on average",
        "removed": "nothing yet"
        if not removed.max() > 0.0
        else f"{said(f.greatest_depth[i])} at most, {_where(way, part, removed)}; "
        f"{said(f.mean_depth[i])} on average",
        "height": f"{said(f.flatness[i])} from its lowest to its highest, tilt taken off",
        "curve": f"flatness {said(f.flatness[i])}, straightedge {said(f.straightedge[i])}",
    }
    return {key: together(text) for key, text in words.items()}


def _where(way: FollowedWay, part: Part, values: Array) -> str:
    """Where a map is greatest, in words."""
    if float(values.max() - values.min()) <= EVEN * float(values.max()):
        return "everywhere alike"
    most, grid = int(values.argmax()), way.lap.grid
    words = place(float(grid.u[most]), float(grid.v[most]), part.outline.length, part.outline.width)
    return f"at {words.partition(' (')[0]}"
