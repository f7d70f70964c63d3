"""What holds of every lap: metal is kept, nothing grows, nothing wears off the paper, symmetry, scale.

Laps are drawn at random (see ``drawn_laps``), the same ones on every run.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from drawn_laps import Drawn, laps, um
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from jobs import STAY, Lapped

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Array, Outline

SOLVER = 1e-3
"""µm; the last motion of the pose leaves some 1e-6 of a bedding length a step."""
PAPER_RASTER, GROUND_RASTER = 0.002, 3e-4
"""Where the rasters of paper and plate cannot be turned or mirrored with a part, as a round rim measures
no whole cells: shares of the greatest removal, and of the height of a dished plate (curvature times
cell squared over 8)."""
many = settings(max_examples=60)
some = settings(max_examples=25)


def run(drawn: Drawn, **more) -> Lapped:
    """The lap, unless the part falls off the paper drawn for it."""
    try:
        found = drawn.run(**more)
    except TippingError:
        assume(False)
        raise
    assume(found.run.tipped == 0.0)
    return found


def places(found: Lapped) -> tuple[Array, Array]:
    """Where every cell stands on the plate in every row (rows, cells) [m]."""
    grid, layout = found.rig.grid, found.layout
    u, v = grid.u[: grid.n_cells], grid.v[: grid.n_cells]
    c, s = np.cos(layout.turn)[:, None], np.sin(layout.turn)[:, None]
    return layout.x[:, None] + c * u - s * v, layout.y[:, None] + s * u + c * v


def by_place(found: Lapped, values: Array, turn: str = "none") -> dict[tuple[int, int], float]:
    """Values of the cells [µm] by their place in µm, after moving the places."""
    grid, n = found.rig.grid, found.rig.grid.n_cells
    u, v = grid.u[:n], grid.v[:n]
    moved = {"none": (u, v), "quarter": (-v, u), "mirror": (u, -v)}[turn]
    keys = zip(*(np.round(1e6 * x).astype(int).tolist() for x in moved), strict=True)
    return dict(zip(keys, um(values[:n]), strict=True))


def assert_same(first: dict[tuple[int, int], float], second: dict[tuple[int, int], float], least: float):
    assert first.keys() == second.keys()
    worst = max(abs(first[place] - second[place]) for place in first)
    assert worst < least


def least_seen(drawn: Drawn, found: Lapped) -> float:
    """Difference that the computation itself makes where a set-up is turned or mirrored [µm]."""
    if drawn.kind not in ("disc", "ring"):
        return SOLVER
    aged = PAPER_RASTER * um(found.removed.max()) if drawn.given.get("ages") else 0.0
    return float(SOLVER + aged + GROUND_RASTER * um(drawn.dish))


# ---- metal


@many
@given(laps(ages=True))
def test_what_is_off_the_face_lies_on_the_paper(drawn):
    found = run(drawn)
    grid = found.rig.grid
    assert found.run.removed_volume > 0.0
    assert found.run.deposited_volume == pytest.approx(found.run.removed_volume, rel=1e-11)
    assert grid.area @ found.removed == pytest.approx(found.run.removed_volume, rel=1e-11)


@many
@given(laps(ages=False))
def test_fresh_paper_takes_rate_times_load_times_sliding(drawn):
    """k·W·s whatever the face, the paper's edges, its wave, the hands and the plate."""
    found = run(drawn.with_(edge_rate=0.0))
    assert found.run.removed_volume == pytest.approx(drawn.given["rate"] * found.run.load_sliding, rel=1e-7)


@many
@given(laps())
def test_no_spot_ever_grows(drawn):
    """Removal rises with the strokes at every point, massless ones too."""
    looks = tuple(range(drawn.strokes // 4, drawn.strokes, max(1, drawn.strokes // 4)))
    found = run(drawn, snapshots=looks)
    faces = np.vstack([found.before, found.run.heights])
    assert np.all(np.diff(faces, axis=0) <= 0.0)
    assert np.isfinite(faces).all()


@some
@given(laps(papers=("short", "two pieces")))
def test_nothing_wears_that_never_meets_paper(drawn):
    """A cell that lies half a cell and more off every piece of paper, in all rows, loses nothing."""
    found = run(drawn)
    x, y = places(found)
    reach = 0.5 * found.rig.grid.cell_size * (1 + 1e-9)
    met = np.zeros(x.shape, dtype=bool)
    for x0, y0, x1, y1 in found.rig.strips:
        met |= (x > x0 - reach) & (x < x1 + reach) & (y > y0 - reach) & (y < y1 + reach)
    n = found.rig.grid.n_cells
    assert np.all(found.removed[:n][~met.any(axis=0)] == 0.0)
    assert found.removed[:n][met.any(axis=0)].max() > 0.0


# ---- the same set-up seen from elsewhere


def a_quarter_round(drawn: Drawn) -> tuple[Drawn, Outline]:
    """Part, stroke, operator, paper and plate turned by 90° anticlockwise."""
    g = drawn.given
    turned = dict(weight_at=(-g["weight_at"][1], g["weight_at"][0]), direction=g["direction"] + np.pi / 2)
    if "strips" in g:
        turned["strips"] = [(-y1, x0, -y0, x1) for x0, y0, x1, y1 in g["strips"]]
    outline = drawn.outline
    rim, openings = ([p @ np.array([[0.0, 1.0], [-1.0, 0.0]]) for p in ps]
                     for ps in ([outline.rim], outline.openings))  # fmt: skip
    return drawn.with_(**turned), Outline(rim[0], tuple(openings))


@some
@given(laps())
def test_turning_the_whole_set_up_turns_the_answer(drawn):
    """Everything that is felt on the bench turned by 90°: the same face, turned."""
    first = run(drawn)
    turned, outline = a_quarter_round(drawn)
    then = run(turned, outline=outline, face=lambda u, v: drawn.face(v, -u))
    least = least_seen(drawn, first)
    assert_same(by_place(first, first.removed, "quarter"), by_place(then, then.removed), least)


@some
@given(laps(patterns=("straight", "one way"), wobbles=False, ages=False, states=(STAY,)))
def test_a_mirror_image_gives_the_mirror_image(drawn):
    """Face, hands, weight and paper mirrored about the line of the stroke."""
    drawn = drawn.with_(direction=0.0)
    g = drawn.given
    first = run(drawn)
    other_side = {name: (g[name][0], -g[name][1]) for name in ("bias", "weight_at")}
    mirrored = drawn.with_(**other_side)
    outline = drawn.outline
    image = Outline(
        outline.rim[::-1] * [1.0, -1.0], tuple(opening[::-1] * [1.0, -1.0] for opening in outline.openings)
    )
    then = run(mirrored, outline=image, face=lambda u, v: drawn.face(u, -v))
    least = least_seen(drawn, first)
    assert_same(by_place(first, first.removed, "mirror"), by_place(then, then.removed), least)


@some
@given(laps(kinds=("rectangle", "disc", "ring"), patterns=("straight", "one way"), wobbles=False, ages=False,
            states=(STAY,)))  # fmt: skip
def test_symmetric_in_symmetric_out(drawn):
    """A face and hands without a left and a right wear without a left and a right."""
    a, _, c, _, e, f, _, h, _ = drawn.shape
    even = replace(drawn, shape=(a, 0.0, c, 0.0, e, f, 0.0, h, 0.0))
    g = drawn.given
    found = run(even.with_(direction=0.0, bias=(g["bias"][0], 0.0), weight_at=(g["weight_at"][0], 0.0)))
    least = least_seen(drawn, found)
    assert_same(by_place(found, found.removed), by_place(found, found.removed, "mirror"), least)


@some
@given(laps(), st.sampled_from((np.pi / 2, np.pi, 2.2)))
def test_turning_the_wrong_way_round_is_noticed(drawn, angle):
    """The tests above could fail: the hands alone turned give another face, if they press off the middle."""
    g = drawn.given
    assume(np.hypot(*g["bias"]) > 0.02 * drawn.width and g["press"] > g["weight"])
    c, s = np.cos(angle), np.sin(angle)
    a, b = g["bias"]
    first, then = run(drawn), run(drawn.with_(bias=(c * a - s * b, s * a + c * b)))
    assert np.abs(um(first.removed - then.removed)).max() > 5 * SOLVER


# ---- scale


@some
@given(laps(), st.floats(0.2, 5.0))
def test_rate_for_load(drawn, factor):
    """k·W decides: a paper that cuts so much faster under so much less load leaves the same face."""
    g = drawn.given
    first = run(drawn)
    traded = {name: g[name] / factor for name in ("press", "weight")} | dict(rate=g["rate"] * factor)
    then = run(drawn.with_(**traded))
    np.testing.assert_allclose(um(then.after), um(first.after), rtol=0.0, atol=SOLVER)


@some
@given(laps(), st.integers(2, 7))
def test_rate_for_strokes(drawn, times):
    """k·s decides: so many times the strokes at so much less a rate, turned, brushed as often on the way."""
    g = drawn.given
    first = run(drawn)
    slower = replace(drawn, strokes=times * drawn.strokes).with_(
        rate=g["rate"] / times,
        **{name: times * g[name] for name in ("turn_every", "brush_every", "sheet_every") if name in g},
    )
    then = run(slower)
    np.testing.assert_allclose(um(then.after), um(first.after), rtol=0.0, atol=SOLVER)


@some
@given(laps(), st.floats(0.3, 3.0))
def test_heights_scale_with_the_bedding_length(drawn, factor):
    """All that is vertical, λ included, so much larger: the answer is so much larger."""
    g = drawn.given
    first = run(drawn)
    taller = replace(drawn, shape=tuple(factor * c for c in drawn.shape), dish=factor * drawn.dish)
    then = run(
        taller.with_(
            bedding=factor * g["bedding"],
            rate=factor * g["rate"],
            ageing=factor * g.get("ageing", 1.0),
            edge_rise=factor * g.get("edge_rise", 0.0),
        )
    )
    np.testing.assert_allclose(um(then.after) / factor, um(first.after), rtol=0.0, atol=SOLVER)


@some
@given(laps(edges=False), st.floats(0.3, 3.0))
def test_a_larger_bench_with_the_same_pressure_leaves_the_same_face(drawn, factor):
    """All that is horizontal so much larger, the load with its square, the rate with its inverse.

    Without a leading edge, whose lengths are those of grains and of paper.
    """
    g = drawn.given
    first = run(drawn)
    pairs = ("bias", "weight_at", "wobble", "plate")
    scaled: dict[str, Any] = {name: tuple(factor * x for x in g[name]) for name in pairs if name in g}
    scaled |= {name: factor * g[name] for name in ("reach", "travel", "sway") if name in g}
    scaled |= {name: factor**2 * g[name] for name in ("press", "weight")}
    if "strips" in g:
        scaled["strips"] = [tuple(factor * x for x in strip) for strip in g["strips"]]
    larger = replace(
        drawn, length=factor * drawn.length, width=factor * drawn.width, cell=factor * drawn.cell
    ).with_(rate=g["rate"] / factor, **scaled)
    then = run(larger)
    n = first.rig.grid.n_cells
    assert then.rig.grid.n_cells == n
    np.testing.assert_allclose(um(then.cells), um(first.cells), rtol=0.0, atol=SOLVER)


# ---- finer steps


ALIKE: dict[str, Any] = dict(
    patterns=("straight",),
    papers=("endless",),
    ages=False,
    wobbles=False,
    dishes=False,
    edges=False,
    states=(STAY,),
)


def tilting(drawn: Drawn) -> Drawn:
    """Much tilt and a wide bed, so that the error of the step stands out over the solver's."""
    g = drawn.given
    return drawn.with_(bedding=20e-6, rate=2.0 * 20e-6 / g["bedding"] * g["rate"], reach=0.08 * drawn.width)


@some
@given(laps(**ALIKE))
def test_half_the_step_leaves_a_quarter_of_the_error(drawn):
    """Second order in the rows, where all strokes are alike: the ratio of successive changes is 4.

    Rows are taken until a step takes a small share of a bedding length.  A face warped by more than a
    bedding length wears into facets, whose edges take still finer steps.
    """
    size = max(map(abs, drawn.shape))
    shape = tuple(c * min(1.0, 20e-6 / size) for c in drawn.shape)
    drawn = tilting(replace(drawn, strokes=64, shape=shape))
    faces = [run(replace(drawn, rows=rows)).after for rows in (128, 256, 512)]
    changes = [np.abs(um(b - a)).max() for a, b in pairwise(faces)]
    assume(changes[1] > 0.5 * SOLVER)
    assert 3.3 < changes[0] / changes[1] < 4.7


@some
@given(laps(**ALIKE, kinds=("rectangle",)))
def test_half_the_cell_leaves_a_quarter_of_the_error(drawn):
    """Second order in the cells on a smooth face that is in contact all over."""
    size = max(map(abs, drawn.shape))
    shape = tuple(c * 10e-6 / size for c in drawn.shape)
    drawn = tilting(replace(drawn, strokes=64, rows=64, shape=shape))
    at = np.array([(0.0, 0.0), (0.2, 0.1), (-0.35, 0.3), (0.4, -0.4)]) * [drawn.length, drawn.width]
    faces = []
    for cell in (drawn.width / 12, drawn.width / 24, drawn.width / 48):
        found = run(replace(drawn, cell=cell, length=2 * drawn.width), follow={"probe": at})
        faces.append(found.after[found.rig.grid.part("probe")])
    changes = [np.abs(um(b - a)).max() for a, b in pairwise(faces)]
    assume(changes[1] > 2 * SOLVER)
    assert 3.5 < changes[0] / changes[1] < 4.5
