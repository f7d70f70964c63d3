"""A followed lap as a moving picture for slides: the maps of the page, the curve, and a line of text."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any, Literal

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from PIL import Image

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DOTTED
from handlap.cli.drawing.face_map import outline_shape, spread_to_raster
from handlap.cli.drawing.letters import printable
from handlap.cli.drawing.pictures import STYLE
from handlap.cli.drawing.play_views import MapView, dye_words, map_of, nice_above, said, views_of
from handlap.cli.reports.quantity import share
from handlap.sim.common.spoken import per_height, per_length
from handlap.sim.teaching.frames import Followed, FollowedWay

MOST_BYTES = 2_900_000
MOST_SHOWN = 40
STEP, HOLD = 160, 2500
"""How long a step and the last one stand [ms]."""
WIDE, DPI = 9.6, 100
LEAST_DPI = 50
TONES = 56
"""Tones of each map's colours: four maps and the lines fill the 256 colours of the format."""
GAP, ABOVE, BELOW = 0.3, 0.3, 0.5
"""Between columns, over a map for its title and under it for its scale [inch]."""


def play_gif(followed: Followed) -> bytes:
    """The moving picture: some forty steps, once through and then still, small enough for slides."""
    count = len(followed.ways[0].frames.strokes)
    picks = np.unique(np.round(np.linspace(0, count - 1, min(MOST_SHOWN, count))).astype(int))
    dpi = DPI
    while True:
        data = _moving(followed, [int(i) for i in picks], dpi)
        if len(data) <= MOST_BYTES or dpi <= LEAST_DPI:
            return data
        dpi = max(LEAST_DPI, int(0.85 * dpi * (MOST_BYTES / len(data)) ** 0.5))


def _moving(followed: Followed, picks: list[int], dpi: int) -> bytes:
    views = views_of(followed)
    with matplotlib.rc_context({**STYLE, "font.size": 9.0}):
        figure, change = _sheet(followed, views)
        figure.set_dpi(dpi)
        canvas = FigureCanvasAgg(figure)
        images = []
        for i in picks:
            change(i)
            canvas.draw()
            images.append(Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3].copy()))
    palette = _palette(views)
    still = [image.quantize(palette=palette, dither=Image.Dither.NONE) for image in images]
    stream = io.BytesIO()
    # Without a count of rounds it is shown once: what moves for ever beside a text cannot be read by.
    still[0].save(
        stream, format="GIF", save_all=True, append_images=still[1:], optimize=False,
        duration=[STEP] * (len(still) - 1) + [HOLD],
    )  # fmt: skip
    return stream.getvalue()


def _palette(views: Sequence[MapView]) -> Image.Image:
    """The colours of the maps and of lines and words, the same 256 at most in every frame."""
    tones = np.linspace(0.0, 1.0, TONES)
    found = [view.colours(tones)[:, :3] for view in views]
    lines = (colours.INK, colours.FAINT, colours.FLATNESS, colours.STRAIGHTEDGE, colours.MARK)
    fade = np.linspace(0.0, 1.0, 6)[:, None]
    found += [fade * np.array(to_rgb(colour)) + (1.0 - fade) for colour in lines]
    table = np.round(255.0 * np.vstack(found)).astype(np.uint8)
    image = Image.new("P", (1, 1))
    image.putpalette(table.tobytes())
    return image


def _sheet(followed: Followed, views: Sequence[MapView]) -> tuple[Figure, Callable[[int], None]]:
    """The figure, and what sets it to a frame.

    One way: four maps, the curve and the figures in two rows.  Two ways: a row for each, with three
    maps and the curve.
    """
    outline, ways = followed.scenario.part.outline, followed.ways
    both = len(ways) > 1
    columns = 4 if both else 3
    wide = WIDE / columns
    tall = min(2.4, (wide - GAP) * outline.width / outline.length)
    row = ABOVE + max(tall, 0.9) + BELOW + (0.32 if both else 0.0)
    height = 0.45 + 2 * row
    figure = Figure(figsize=(WIDE, height), facecolor=colours.GROUND)

    def place(w: int, k: int) -> tuple[float, float]:
        """Left and top of the k-th cell of a way [inch from the left and from the bottom]."""
        return wide * (k % columns) + 0.5 * GAP, height - 0.45 - row * (w if both else k // columns)

    def axes_at(left: float, bottom: float, width: float, up: float) -> Axes:
        return figure.add_axes((left / WIDE, bottom / height, width / WIDE, up / height))

    changes: list[Callable[[int], None]] = []
    for w, way in enumerate(ways):
        shown = [view for view in views if not both or view.key != "height"]
        down = ABOVE + (0.32 if both else 0.0)
        if both:
            left, top = place(w, 0)
            words = printable(f"{'AB'[w]}: {way.name}, on {way.lap.paper}")
            figure.text(left / WIDE, (top - 0.2) / height, words, fontsize=10.5, fontweight="bold")
        for k, view in enumerate(shown):
            left, top = place(w, k)
            at = axes_at(left, top - down - tall, wide - GAP, tall)
            bar = axes_at(left, top - down - tall - 0.2, wide - GAP, 0.1)
            changes.append(_map(at, bar, followed, way, view))
        left, top = place(w, len(shown))
        room = max(tall, 0.9)
        changes.append(
            _curve(axes_at(left + 0.25, top - down - room, wide - GAP - 0.25, room), followed, way)
        )
        if not both:
            left, top = place(w, len(shown) + 1)
            changes.append(_words(axes_at(left, top - down - room, wide - GAP, room), way))
    title = figure.text(0.5 * GAP / WIDE, 1.0 - 0.28 / height, "", fontsize=11.5)

    def change(i: int) -> None:
        strokes = int(ways[0].frames.strokes[i])
        title.set_text(printable(f"Stroke {strokes} of {followed.strokes}: {followed.scenario.title}"))
        for one in changes:
            one(i)

    change(0)
    return figure, change


def _map(axes: Axes, bar: Axes, followed: Followed, way: FollowedWay, view: MapView) -> Callable[[int], None]:
    grid, outline = way.lap.grid, followed.scenario.part.outline
    clip = PathPatch(
        outline_shape(outline), facecolor="none", edgecolor=colours.INK, linewidth=0.8, clip_on=False
    )
    axes.add_patch(clip)
    extent = (
        grid.u_edges[0] * per_length(),
        grid.u_edges[-1] * per_length(),
        grid.v_edges[0] * per_length(),
        grid.v_edges[-1] * per_length(),
    )
    image = axes.imshow(
        np.zeros((2, 2)), origin="lower", extent=extent, cmap=view.colours, vmin=0.0, vmax=1.0,
        interpolation="bilinear",
    )  # fmt: skip
    image.set_clip_path(clip)
    axes.set_xlim(-0.5 * per_length() * outline.length, 0.5 * per_length() * outline.length)
    axes.set_ylim(-0.5 * per_length() * outline.width, 0.5 * per_length() * outline.width)
    axes.set_axis_off()
    bar.imshow(
        np.linspace(0.0, 1.0, TONES)[None, :], cmap=view.colours, aspect="auto", extent=(0.0, 1.0, 0.0, 1.0)
    )
    bar.set_axis_off()
    low, middle, high = view.scale.ticks()
    ends: tuple[tuple[float, str, Literal["left", "center", "right"]], ...] = (
        (0.0, low, "left"), (0.5, middle, "center"), (1.0, high, "right"),
    )  # fmt: skip
    for x, text, side in ends:
        bar.text(x, -0.4, text, ha=side, va="top", fontsize=7.5)
    title = axes.set_title(view.title, fontsize=9.0, loc="left")
    frames = way.frames

    def change(i: int) -> None:
        image.set_data(spread_to_raster(grid, view.scale.share_of(map_of(way, view.key, i))))
        if view.key == "dye":
            title.set_text(f"Dye gone on {share(1.0 - frames.dye_share[i])}")

    return change


def _curve(axes: Axes, followed: Followed, way: FollowedWay) -> Callable[[int], None]:
    part = followed.scenario.part
    strokes = way.frames.strokes
    f = way.frames.figures
    top = max(
        float(max(w.frames.figures.flatness.max(), w.frames.figures.straightedge.max()))
        for w in followed.ways
    )
    for other in followed.ways:
        if other is not way:
            axes.plot(strokes, per_height() * other.frames.figures.flatness, color=colours.FAINT, lw=1.2)
    axes.plot(strokes, per_height() * f.straightedge, color=colours.STRAIGHTEDGE, lw=1.6, ls=DOTTED)
    axes.plot(strokes, per_height() * f.flatness, color=colours.FLATNESS, lw=1.8)
    axes.axhline(per_height() * part.limit, color=colours.LIMIT, lw=1.0, ls=(0, (6, 3)))
    line = axes.axvline(0.0, color=colours.MARK, lw=1.4)
    (spot,) = axes.plot([0.0], [0.0], "o", color=colours.MARK, ms=5)
    axes.set_xlim(0.0, followed.strokes)
    axes.set_ylim(0.0, nice_above(1.02 * per_height() * max(top, part.limit)))
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=7.5, color=colours.FAINT, length=3)
    axes.locator_params(axis="x", nbins=3)
    title = axes.set_title("", fontsize=9.0, loc="left")

    def change(i: int) -> None:
        at = float(strokes[i])
        line.set_xdata([at, at])
        spot.set_data([at], [per_height() * f.flatness[i]])
        title.set_text(f"Flatness {said(f.flatness[i])}")

    return change


def _words(axes: Axes, way: FollowedWay) -> Callable[[int], None]:
    axes.set_axis_off()
    text: Any = axes.text(0.0, 0.98, "", transform=axes.transAxes, va="top", fontsize=9.5, linespacing=1.7)
    f, frames = way.frames.figures, way.frames

    def change(i: int) -> None:
        text.set_text(
            f"On {way.lap.paper}\n"
            f"flatness {said(f.flatness[i])} (full line)\nstraightedge {said(f.straightedge[i])} (dotted)\n"
            f"off on average {said(f.mean_depth[i])}\noff at the deepest {said(f.greatest_depth[i])}\n"
            f"dye {dye_words(frames, i)}" + (";\nput on again" if frames.dyed_again[i] else "")
        )

    return change
