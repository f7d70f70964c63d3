"""A page to play with: a followed lap as frames in one HTML file that fetches nothing.

Style and script stand beside this module as files of their own and are put into the page, which
allows them by their digest and forbids everything else, the network above all.  Maps go in as bytes,
one a cell and frame (of the dye, which has three states, two bits), in base64.
"""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.cli.drawing import colours
from handlap.cli.drawing.play_views import (
    MapView,
    captions_of,
    figures_of,
    map_of,
    nice_above,
    rows_of_figures,
    sentence_of,
    views_of,
)
from handlap.cli.reports.page import escape
from handlap.cli.reports.quantity import height, stated, stated_height
from handlap.cli.reports.script_page import script_page
from handlap.cli.reports.wording import (
    LIMIT,
    dye_signs,
    face_words,
    paper_words,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.teaching.frames import Followed, FollowedWay

HERE = Path(__file__).parent
MOST_BYTES = 4_000_000
"""The maps may take this much of the page; where they would take more, cells are put together."""
BYTES_A_CELL = 3.25 * 4.0 / 3.0
"""Of three maps of a byte and one of two bits, in base64."""
DYE_BITS = 2
"""The dye of a cell: 0 gone, 1 fading, 2 full, four cells to a byte."""
MOST_CELLS, LAST_PLACE = 12_000, 65_535
"""More cells than that are finer than a screen shows; places in the raster are written in two bytes."""
LETTERS = "AB"
LINES = (16, 32, 48, 64, 80, 96, 112, 143, 159, 175, 191, 207, 223, 239)
"""Levels of the height, of 256, after which a line of equal height is drawn."""
BOX = (46.0, 10.0, 350.0, 186.0)
"""Left, top, right and bottom of the curve's axes in its picture."""
CURVE_SIZE = (360, 226)


def render_play(followed: Followed) -> str:
    """The page."""
    style, script = (_file(f"play_page.{kind}") for kind in ("css", "js"))
    views = views_of(followed)
    data = play_data(followed, views)
    title = subject(followed.scenario)
    body = (
        f"{_head(followed)}\n{_controls(followed)}\n"
        f'<main>\n<div class="views ways-{len(followed.ways)}">\n{_tiles(followed, views)}</div>\n'
        f"{_reading(followed)}</main>\n"
        "<footer>Worked out by handlap: one typical face, every figure at its middle value, nothing "
        "uncertain. For a decision on a real part use a plan with its bands; the limits of the part's maker, "
        "local codes and a qualified machinist's judgement come before any number here.</footer>\n"
    )
    return script_page(title, style, body, ("frames", data), script)


def _file(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


def play_data(followed: Followed, views: tuple[MapView, ...]) -> dict[str, Any]:
    """What the script of the page draws from."""
    grid, outline = followed.ways[0].lap.grid, followed.scenario.part.outline
    count = len(followed.ways[0].frames.strokes)
    block = _block_for(grid, count * len(followed.ways))
    shape, index = _raster(grid, block)
    step = grid.cell_size * block
    left, near = float(grid.u_edges[0]), float(grid.v_edges[0])
    rings = [outline.rim, *outline.openings]
    return {
        "strokes": [int(n) for n in followed.ways[0].frames.strokes],
        "raster": {
            "rows": shape[0],
            "columns": shape[1],
            "cells": _text(index.astype("<u2")),
            "length": _mm(outline.length),
            "width": _mm(outline.width),
            "left": _mm(left),
            "right": _mm(left + shape[1] * step),
            "near": _mm(near),
            "far": _mm(near + shape[0] * step),
        },
        "outline": [[[_mm(u), _mm(v)] for u, v in ring] for ring in rings],
        "lines": [[at, colours.line_over(colours.HEIGHT(at / 255.0))] for at in LINES],
        "views": {
            view.key: {"bits": DYE_BITS if view.key == "dye" else 8, "colours": _text(_colours(view))}
            for view in views
        },
        "curve": [_curve_points(followed, way) for way in followed.ways],
        "ways": [_way_data(followed, way, LETTERS[i], views, block) for i, way in enumerate(followed.ways)],
    }


def _way_data(
    followed: Followed, way: FollowedWay, letter: str, views: tuple[MapView, ...], block: int
) -> dict[str, Any]:
    frames = range(len(way.frames.strokes))
    captions = [captions_of(way, followed.scenario.part, i) for i in frames]
    return {
        "letter": letter,
        "name": way.name,
        "away": [round(float(angle), 4) for angle in way.frames.away],
        "figures": [figures_of(way.frames, i) for i in frames],
        "sentences": [sentence_of(way.frames, i) for i in frames],
        "captions": {key: [caption[key] for caption in captions] for key in captions[0]},
        "maps": {view.key: _text(_levels(way, view, block)) for view in views},
    }


def _mm(length: float) -> float:
    return round(1e3 * float(length), 3)


def _text(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")


def _colours(view: MapView) -> NDArray[np.uint8]:
    """The 256 colours of a view (256, 3)."""
    return np.round(255.0 * view.colours(np.linspace(0.0, 1.0, 256))[:, :3]).astype(np.uint8)


def _block_for(grid: Grid, maps: int) -> int:
    """Cells of the lap along one side of a cell of the page."""
    most = min(MOST_CELLS, MOST_BYTES / (BYTES_A_CELL * maps))
    block = 1
    while True:
        (rows, columns), index = _raster(grid, block)
        if index.size <= most and rows * columns <= LAST_PLACE:
            break
        block += 1
    return block


def _raster(grid: Grid, block: int) -> tuple[tuple[int, int], NDArray[np.int64]]:
    """Rows and columns of the page's raster, and the places in it that hold metal."""
    rows, columns = -(-(grid.v_edges.size - 1) // block), -(-(grid.u_edges.size - 1) // block)
    return (rows, columns), np.unique((grid.row // block) * columns + grid.column // block)


def _levels(way: FollowedWay, view: MapView, block: int) -> NDArray[np.uint8]:
    """A view in all frames: a byte for each cell of the page, or two bits for dye."""
    grid = way.lap.grid
    (_, columns), index = _raster(grid, block)
    into = np.searchsorted(index, (grid.row // block) * columns + grid.column // block)
    weight = grid.area[: grid.n_cells]
    whole = np.bincount(into, weights=weight, minlength=index.size)
    levels = []
    for i in range(len(way.frames.strokes)):
        values: Array = map_of(way, view.key, i)
        if block > 1:
            values = np.bincount(into, weights=weight * values, minlength=index.size) / whole
        else:
            values = values[np.argsort(into)]
        if view.key == "dye":
            levels.append(_packed(np.round(2.0 * values).astype(np.uint8)))
        else:
            levels.append(np.round(255.0 * view.scale.share_of(values)).astype(np.uint8))
    return np.concatenate(levels)


def _packed(states: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """States (cells,) of two bits, four to a byte, the first highest."""
    four = np.zeros(-(-states.size // 4) * 4, dtype=np.uint8)
    four[: states.size] = states
    shifted = four.reshape(-1, 4) << np.array([6, 4, 2, 0], dtype=np.uint8)
    packed: NDArray[np.uint8] = shifted.sum(axis=1).astype(np.uint8)
    return packed


def _head(followed: Followed) -> str:
    scenario, ways = followed.scenario, followed.ways
    papers = list(dict.fromkeys(way.lap.paper for way in ways))
    names = ""
    if len(ways) > 1:
        names = " ".join(
            f'<span class="way">{LETTERS[i]}</span>{escape(way.name)}{"." if i else ";"}'
            for i, way in enumerate(ways)
        )
        names = f'<p class="lead">Two ways of working the same face, in step: {names}</p>'
    names += "".join(f'<p class="lead">{escape(text)}</p>' for text in paper_words(way.lap for way in ways))
    return (
        f"<header>\n<h1>{followed.strokes} strokes on {escape(', '.join(papers))}, step by step</h1>\n"
        f'<p class="subject">{escape(subject(scenario))}</p>\n'
        f'<p class="lead">{escape(sentence(face_words(scenario.part)))} '
        f"{escape(sentence(wanted_words(scenario.part)))}</p>{names}\n</header>"
    )


def _controls(followed: Followed) -> str:
    last = len(followed.ways[0].frames.strokes) - 1
    return (
        '<noscript><p class="lead">Without scripts this page only shows the curves and the first and '
        "last figures.</p></noscript>\n"
        '<div class="controls scripted">\n<div class="line">\n'
        '<button id="play" type="button">Play</button>\n'
        '<label class="unseen" for="stroke">Strokes done</label>\n'
        f'<input id="stroke" type="range" min="0" max="{last}" step="1" value="0">\n'
        '<output id="count" for="stroke" aria-live="off"></output>\n</div>\n'
        '<p class="told" id="told"></p>\n'
        '<p class="keys">Drag the slider, or use keys: space plays and pauses, the arrows go one step, '
        "Home and End on slider or button to the first and the last.</p>\n"
        '<p class="unseen" id="spoken" role="status" aria-live="polite"></p>\n</div>'
    )


def _tiles(followed: Followed, views: tuple[MapView, ...]) -> str:
    """All views, the ways of each beside one another."""
    both = len(followed.ways) > 1
    tiles = []
    for kind in (*views, "curve", "figures"):
        for w, way in enumerate(followed.ways):
            letter = f'<span class="way">{LETTERS[w]}</span>' if both else ""
            if isinstance(kind, MapView):
                tiles.append(_map_tile(kind, w, letter))
            elif kind == "curve":
                tiles.append(_curve_tile(followed, w, letter))
            else:
                tiles.append(_figures_tile(way, w, letter))
    return "\n".join(tiles) + "\n"


def _map_tile(view: MapView, w: int, letter: str) -> str:
    low, middle, high = view.scale.ticks()
    return (
        f'<section class="view scripted"><h2>{letter}{escape(view.title)}</h2>\n'
        f'<p class="hint">{escape(view.hint)}</p>\n'
        f'<canvas id="map-{view.key}-{w}" role="img" data-view="{view.key}" data-way="{w}" '
        f'data-title="{escape(view.title)}"></canvas>\n'
        f'<canvas class="bar" data-bar="{view.key}" aria-hidden="true"></canvas>\n'
        f'<div class="scale"><span>{escape(low)}</span><span>{escape(middle)}</span>'
        f"<span>{escape(high)}</span></div>\n"
        f'<p class="says" id="{view.key}-{w}"></p></section>'
    )


def _figures_tile(way: FollowedWay, w: int, letter: str) -> str:
    first, last = figures_of(way.frames, 0), figures_of(way.frames, -1)
    rows = "".join(
        f'<tr><th scope="row">{name}, {unit}</th><td>{first[n]}</td>'
        f'<td class="scripted" id="now-{w}-{n}"></td><td>{last[n]}</td></tr>'
        for n, (name, unit) in enumerate(rows_of_figures())
    )
    return (
        f'<section class="view figures"><h2>{letter}Figures</h2>\n<table><caption>{escape(way.name)}, on '
        f"{escape(way.lap.paper)}</caption>"
        '<thead><tr><td></td><th scope="col">at the start</th><th scope="col" class="scripted">now</th>'
        f'<th scope="col">after {int(way.frames.strokes[-1])}</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></section>"
    )


def _top(followed: Followed) -> float:
    """Height of the curve's axis, in the unit of the job: holds the curves of all ways and the limit."""
    most = max(
        float(max(way.frames.figures.flatness.max(), way.frames.figures.straightedge.max()))
        for way in followed.ways
    )
    return nice_above(1.02 * per_height() * max(most, followed.scenario.part.limit))


def _places(followed: Followed, strokes: Array, heights: Array) -> tuple[list[float], list[float]]:
    left, top, right, bottom = BOX
    x = left + (right - left) * strokes / followed.strokes
    y = bottom - (bottom - top) * per_height() * heights / _top(followed)
    return [round(float(a), 2) for a in x], [round(float(b), 2) for b in y]


def _curve_points(followed: Followed, way: FollowedWay) -> dict[str, list[float]]:
    f, strokes = way.frames.figures, way.frames.strokes.astype(float)
    x, flatness = _places(followed, strokes, f.flatness)
    return {"x": x, "flatness": flatness, "straightedge": _places(followed, strokes, f.straightedge)[1]}


def _curve_tile(followed: Followed, w: int, letter: str) -> str:
    left, top, right, bottom = BOX
    points = [_curve_points(followed, way) for way in followed.ways]
    f = followed.ways[w].frames.figures
    part = followed.scenario.part

    def curve(kind: str, x: list[float], y: list[float]) -> str:
        pairs = " ".join(f"{a},{b}" for a, b in zip(x, y, strict=True))
        return f'<polyline class="{kind}" points="{pairs}"/>'

    others = "".join(curve("other", p["x"], p["flatness"]) for i, p in enumerate(points) if i != w)
    mine = points[w]
    limit = _places(followed, np.zeros(1), np.array([part.limit]))[1][0]
    hint = "full: flatness; dotted: straightedge; broken: the limit"
    if others:
        hint += f"; grey: flatness of {LETTERS[1 - w]}"
    label = (
        f"Flatness against strokes: {height(f.flatness[0], 3, 0.1)} at the start, "
        f"{height(f.flatness[-1], 3, 0.1)} after {followed.strokes} strokes; the limit is "
        f"{stated_height(part.limit)} {LIMIT[part.limit_by]}"
    )
    spots = "".join(
        f'<circle class="spot scripted" id="spot-{name}-{w}" r="4.5"/>'
        for name in ("straightedge", "flatness")
    )
    return (
        f'<section class="view curve"><h2>{letter}Out of flat, {height_unit()}</h2>\n'
        f'<p class="hint">{hint}</p>\n'
        f'<svg viewBox="0 0 {CURVE_SIZE[0]} {CURVE_SIZE[1]}" role="img" aria-label="{escape(label)}">'
        f"{_axes(followed)}{others}{curve('straightedge', mine['x'], mine['straightedge'])}"
        f"{curve('flatness', mine['x'], mine['flatness'])}"
        f'<path class="limit" d="M{left} {limit}H{right}"/>'
        f'<line class="now scripted" id="now-{w}" y1="{top}" y2="{bottom}"/>{spots}</svg>\n'
        f'<p class="says scripted" id="curve-{w}"></p></section>'
    )


def _axes(followed: Followed) -> str:
    """Frame, lines and figures of the curve's axes."""
    left, top, right, bottom = BOX
    most = _top(followed)
    drawn = []
    for i in range(5):
        y = bottom - (bottom - top) * i / 4
        drawn.append(
            f'<path class="grid" d="M{left} {y:g}H{right}"/>'
            f'<text x="{left - 6}" y="{y + 4:g}" text-anchor="end">{stated(round(most * i / 4, 3))}</text>'
        )
    for i, anchor in enumerate(("start", "middle", "end")):
        x = left + (right - left) * i / 2
        drawn.append(
            f'<path class="axis" d="M{x:g} {bottom}v4"/><text x="{x:g}" y="{bottom + 18}" '
            f'text-anchor="{anchor}">{followed.strokes * i // 2}</text>'
        )
    drawn.append(
        f'<path class="axis" d="M{left} {top}V{bottom}H{right}"/>'
        f'<text x="{(left + right) / 2:g}" y="{bottom + 36}" text-anchor="middle">strokes</text>'
    )
    return "".join(drawn)


def _reading(followed: Followed) -> str:
    """What each view shows, at more length."""
    rows = (
        (
            "Dye",
            f"A thin film put on the face. {dye_signs()} At a check it is put on again once it is gone from "
            "more than half of the face.",
        ),
        (
            "Pressure now",
            "How hard the paper presses on each spot at this moment, mean of push and pull. Proud spots "
            "carry the part at first; as they wear, the rest comes to bear. The arrow at the rim points away "
            "from whoever pushes: when the part is turned it moves to another side.",
        ),
        ("Metal off so far", "Depth removed since the first stroke: pressure times sliding, added up."),
        (
            "The face now",
            "Height over the best plane through it, so its tilt does not show. Lines of equal height are "
            "full over that plane and broken under it.",
        ),
        (
            "Out of flat",
            "Flatness is the least distance of two planes that hold the whole face between them. The "
            "straightedge reads the greatest gap under it on the usual lines, which may be less.",
        ),
    )
    text = "".join(f"<dt>{name}</dt><dd>{escape(words)}</dd>" for name, words in rows)
    notes = [note for way in followed.ways for note in (*followed.scenario.warnings, *way.lap.notes)]
    if followed.chosen:
        notes.insert(0, f"{followed.strokes} strokes were chosen: {followed.chosen}")
    listed = "".join(f"<li>{escape(sentence(note))}</li>" for note in dict.fromkeys(notes))
    return (
        f"<details><summary>What the pictures show, and what was taken</summary><dl>{text}</dl>"
        f"<ul>{listed}</ul></details>\n"
    )
