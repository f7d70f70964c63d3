"""The figures of a face: flatness at the very edge, straightedge, depths, taper."""

from __future__ import annotations

import numpy as np
import pytest
from jobs import UM

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle
from handlap.sim.lapping import gauge
from handlap.sim.lapping.gauge import Gauge

HEAD = Outline.rectangular(0.44, 0.15, tuple(circle(u, 0.0, 0.08) for u in (-0.165, -0.055, 0.055, 0.165)))
PLATE = Outline.rectangular(0.3, 0.12)


def gauged(outline: Outline, cell: float = 0.01) -> Gauge:
    lines, follow = gauge.lines_to_follow(outline)
    return gauge.make_gauge(outline, make_grid(outline, cell=cell, follow=follow), lines)


@pytest.fixture(scope="module")
def plate() -> Gauge:
    return gauged(PLATE)


@pytest.mark.parametrize("cell", [0.03, 0.01, 0.005])
def test_flatness_reaches_the_very_edge(cell):
    """Closed form: a twist of zone 18 µm on 300 × 120 mm, z = 1e-6·u·v in mm, on however coarse a grid.

    The middles of the cells alone would miss an edge strip half a cell wide.
    """
    g = gauged(PLATE, cell)
    h = 1e-3 * g.grid.u * g.grid.v
    assert gauge.flatness(g, h)[0] == pytest.approx(18 * UM, rel=1e-9)


def test_flatness_does_not_see_planes(plate):
    """Closed form: a bow of 50 µm is 50 µm flat however it is tipped."""
    u, v = plate.grid.u, plate.grid.v
    bow = 50 * UM * (u / 0.15) ** 2
    for tip in (0.0, 1e-3, -4e-4):
        assert gauge.flatness(plate, bow + tip * u - 0.3 * tip * v)[0] == pytest.approx(50 * UM, rel=1e-9)


def test_straightedge_reads_a_bow_whole_and_a_twist_by_half(plate):
    """Closed form (straight line on a parabola, on a twist's diagonal)."""
    u, v = plate.grid.u, plate.grid.v
    bow, twist = 50 * UM * (u / 0.15) ** 2, 25 * UM * (u / 0.15) * (v / 0.06)
    assert gauge.straightedge(plate, np.stack([bow, -bow, twist])) == pytest.approx(
        [50 * UM, 50 * UM, 25 * UM], rel=5e-3
    )


@pytest.mark.parametrize("outline", [PLATE, HEAD], ids=["plate", "head"])
def test_mean_depth_and_taper_of_a_plane(outline):
    """Closed form: a removal d + a·u + b·v has mean d (the faces are symmetric), tapers a·L and b·B.

    + = more off at +u and +v.
    """
    g = gauged(outline)
    removed = 20 * UM + 1e-4 * g.grid.u - 3e-4 * g.grid.v
    assert gauge.mean_depth(g, removed)[0] == pytest.approx(20 * UM, rel=1e-6)
    along, across = gauge.taper(g, removed)
    assert along[0] == pytest.approx(1e-4 * outline.length, rel=1e-9)
    assert across[0] == pytest.approx(-3e-4 * outline.width, rel=1e-9)


def test_taper_of_a_cubic_is_its_best_plane(plate):
    """Closed form: least squares of (u/w)³ over a rectangle is 3/5·(u/w)."""
    w = 0.15
    along, across = gauge.taper(plate, 10 * UM * (plate.grid.u / w) ** 3)
    # Cells of a 30th of the length: 1/n² of the slope is in doubt.
    assert along[0] == pytest.approx(2 * 10 * UM * 3 / 5, rel=3 / 30**2)
    assert across[0] == pytest.approx(0.0, abs=1e-12)


def test_mean_is_weighted_by_area_and_not_by_count():
    """A removal only over the webs between bores: by areas, whatever the cells they are cut into."""
    g, fine = gauged(HEAD, 0.015), gauged(HEAD, 0.002)
    depths = [gauge.mean_depth(x, 30 * UM * np.cos(np.pi * x.grid.u / 0.44))[0] for x in (g, fine)]
    assert depths[0] == pytest.approx(depths[1], rel=2e-3)


def test_figures_of_several_faces(plate):
    u = plate.grid.u
    before = 50 * UM * (u / 0.15) ** 2
    after = np.stack([before - 10 * UM, 0.5 * before, before - 10 * UM - 1e-4 * u])
    found = gauge.figures(plate, before, after)
    assert found.flatness == pytest.approx([50 * UM, 25 * UM, 50 * UM], rel=1e-6)
    # The greatest depth is found at the very ends of the face.
    assert found.greatest_depth == pytest.approx([10 * UM, 25 * UM, 10 * UM + 1e-4 * 0.15], rel=1e-9)
    assert found.mean_depth[0] == pytest.approx(10 * UM)
    assert found.mean_depth[1] == pytest.approx(25 * UM / 3, rel=3e-3)
    assert found.taper_along == pytest.approx([0.0, 0.0, 1e-4 * 0.3], abs=1e-12)
