"""Faces that are no convex polygon, partly off their paper: what carries them, and when they tip."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from jobs import CONCAVE, HALF_TURNS, QUARTER_TURNS, UM, WALK_ROUND, concave, job, lap, twist
from marched import march, pose_table
from scipy.spatial import ConvexHull

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario_file import load_text
from handlap.sim.lapping import column_kernels, standing_kernels
from handlap.sim.lapping.set_up import set_up
from handlap.sim.lapping.simulate import simulate

L, B, CELL = 0.24, 0.14, 0.01


def hull_of_paper(u: Array, v: Array, cover: Array) -> Array:
    """Places (k, 2) of the corners that the march finds."""
    upright, begins = np.empty(u.size, dtype=np.int32), np.empty(u.size + 1, dtype=np.int32)
    ends = np.empty((2, standing_kernels.lay_in_columns(u, v, upright, begins)), dtype=np.int32)
    standing_kernels.ends_on_paper(cover, upright, begins, ends)
    corners = np.empty(ends.size + 1, dtype=np.int32)
    found = corners[: standing_kernels.hull_corners(u, v, ends, corners)]
    return np.column_stack([u[found], v[found]])


@pytest.mark.parametrize("kind", CONCAVE)
def test_hull_of_what_is_on_paper_against_another_routine(kind: str) -> None:
    """Against Qhull (Barber, Dobkin and Huhdanpaa, ACM Trans. Math. Software 22, 1996)."""
    rng = np.random.default_rng(CONCAVE.index(kind))
    rig = set_up(job(concave(kind, L, B)), cell=CELL)
    u, v = (x[: rig.grid.n_cells] / rig.half for x in (rig.grid.u, rig.grid.v))
    for _ in range(20):
        towards = rng.uniform(0.0, 2.0 * np.pi)
        along = u * np.cos(towards) + v * np.sin(towards)
        cover = np.clip(20.0 * (along - rng.uniform(-0.8, 0.5)), 0.0, 1.0)
        cover[np.abs(u - rng.uniform(-1.0, 1.0)) < 0.1] = 0.0
        on = cover >= standing_kernels.ON_PAPER
        if np.linalg.matrix_rank(np.column_stack([u[on], v[on], np.ones(on.sum())]), tol=1e-6) < 3:
            continue
        corners = hull_of_paper(u, v, cover)
        x, y = corners.T
        area = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
        assert area == pytest.approx(ConvexHull(np.column_stack([u[on], v[on]])).volume, abs=1e-9)


def test_cells_on_one_line_or_alone_have_a_hull_too() -> None:
    line, nought = np.linspace(-1.0, 1.0, 9), np.zeros(9)
    ends = np.array([(-1.0, 0.0), (1.0, 0.0)])
    np.testing.assert_allclose(hull_of_paper(line, nought, np.ones(9)), ends)
    np.testing.assert_allclose(hull_of_paper(nought, line, np.ones(9)), ends[:, ::-1])
    assert len(hull_of_paper(line, nought, (line > 0.9).astype(float))) == 1
    assert len(hull_of_paper(line, nought, nought)) == 0


@pytest.mark.parametrize("kind", CONCAVE)
def test_the_load_is_where_it_acts_or_the_part_tips(checked: Any, kind: str) -> None:
    """Statics: inside the hull of what is on paper a load is balanced, off the metal too; outside it tips.

    The middle of the metal cut is the middle of the pressure, so the place of the load; the hull is Qhull's.
    """
    rng = np.random.default_rng(CONCAVE.index(kind))
    edge = 0.02
    rig = set_up(job(concave(kind, L, B), strips=[(-1.0, -1.0, edge, 1.0)]), cell=CELL)
    grid = rig.grid
    u, v = grid.u[: grid.n_cells], grid.v[: grid.n_cells]
    cell = grid.cell_size
    hull = ConvexHull(np.column_stack([u, v])[u <= edge])
    apart, balanced, tipped = [0.0], 0, 0
    low, high = hull.min_bound - 0.02, hull.max_bound + 0.02
    for at in rng.uniform(low, high, (60, 2)):
        out = float(np.max(hull.equations[:, :2] @ at + hull.equations[:, 2]))
        found = march(rig, np.zeros(grid.u.size), pose_table(1, 5.0, 100.0, at, half=rig.half))
        assert found.status == column_kernels.STATUS_OK
        off = grid.area @ -found.heights
        middle = np.array([grid.area * grid.u @ -found.heights, grid.area * grid.v @ -found.heights]) / off
        if out < -0.51 * cell:
            balanced += 1
            apart.append(float(np.abs(middle - at).max()))
            assert found.diagnostics[column_kernels.D_TIPPED] == 0.0
        if out > 0.51 * cell:
            tipped += 1
            assert found.diagnostics[column_kernels.D_TIPPED] == 1.0
        assert np.max(hull.equations[:, :2] @ middle + hull.equations[:, 2]) < 1e-9
    assert balanced > 3 and tipped > 3
    checked(
        f"middle of the metal off a {kind} half off its paper, against the load's place",
        expected=0.0,
        got=max(apart) / UM,
        tolerance=0.1,
        unit="µm",
        kind="closed form",
        source="balance of forces and moments",
        about="wear",
    )


FAILED: dict[str, tuple[str, dict[str, Any]]] = {
    "an arm off the edge, wandering hands": (
        "L",
        dict(
            plate=(0.28, 0.15), travel=0.08, reach=0.02, bias=(-0.005, 0.006), wobble=(0.03, 0.01),
            pattern="one way", ages=True, direction=1.571,
        ),
    ),
    "L, circles, walking round": (
        "L",
        dict(
            plate=(0.33, 0.15), travel=0.04, reach=0.02, bias=(-0.004, 0.02), wobble=(0.01, 0.01),
            pattern="circle", states=WALK_ROUND, turn_every=20,
        ),
    ),
    "U, narrow plate": (
        "U",
        dict(
            plate=(0.15, 0.15), travel=0.16, reach=0.04, bias=(-0.002, 0.004), wobble=(0.0, 0.01),
            ages=True, direction=0.4,
        ),
    ),
    "T, one way": (
        "T",
        dict(
            plate=(0.32, 0.2), travel=0.18, reach=0.04, bias=(-0.004, 0.008), wobble=(0.03, 0.01),
            pattern="one way", states=WALK_ROUND, turn_every=20,
        ),
    ),
    "C, slanting strokes": (
        "C",
        dict(
            plate=(0.23, 0.13), travel=0.15, bias=(-0.009, -0.004), wobble=(0.03, 0.0), pattern="diagonal",
            ages=True, direction=0.4,
        ),
    ),
    "crescent, quarter turns": (
        "crescent",
        dict(
            plate=(0.08, 0.24), travel=0.17, reach=0.02, bias=(-0.007, -0.001), wobble=(0.01, 0.01),
            pattern="circle", states=QUARTER_TURNS, turn_every=20, direction=0.4,
        ),
    ),
    "U, half turns, eights": (
        "U",
        dict(
            plate=(0.18, 0.2), travel=0.15, reach=0.04, bias=(0.005, -0.013), wobble=(0.0, 0.01), ages=True,
            pattern="eight", states=HALF_TURNS, turn_every=20, direction=1.571,
        ),
    ),
}  # fmt: skip
"""Laps on plates smaller than the part and its stroke, which ended with "no pose found"."""


@pytest.mark.parametrize("name", FAILED)
def test_laps_that_had_no_pose_have_one(name: str) -> None:
    """Regression: the resultant was held in a hull wider than that of what lay on paper."""
    kind, given = FAILED[name]
    found = lap(job(concave(kind, L, B), **given), twist(100 * UM, L / 2, B / 2), 200, rows=32, cells=300)
    assert np.isfinite(found.after).all()
    assert found.run.removed_volume > 0.0
    assert found.run.overhung > 0.0 and found.run.tipped + found.run.clipped > 0.0


ON_ITS_TIPS = """
title = "On the tips of its arms"
invented = true
[part]
polygon = [[0, 0], [120, 0], [120, 25], [25, 25], [25, 80], [0, 80]]
metal = "A356"
mass = 1
limit = 50
[plate]
length = 300
width = 200
[paper]
grits = ["P120"]
strips = [[50, -100, 100, 100], [-100, 36, 100, 100]]
[strokes]
length = 12
[[readings.line]]
name = "a"
from = [0, 12]
to = [120, 12]
stations = [[60, 60, 80]]
[exact]
cell = 8
"""


def test_a_part_that_hangs_almost_wholly_off_its_paper_is_refused_in_words() -> None:
    """Common practice: it tips off the edge; what helps is more of it on the paper."""
    scenario = load_text(ON_ITS_TIPS, "x")
    with pytest.raises(TippingError, match="keep more of the part on the paper"):
        simulate(scenario, strokes=60)
