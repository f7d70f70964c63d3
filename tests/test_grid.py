"""The raster of a face: exact areas and moments, massless points at the edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle, polygon_moments, rectangle, slot

HEAD = Outline.rectangular(0.44, 0.15, tuple(circle(u, 0.0, 0.08) for u in (-0.165, -0.055, 0.055, 0.165)))
L_SHAPE = Outline(np.array([(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]) * 1e-3).centred()[0]
ROUND = Outline(circle(0.0, 0.0, 0.12), (circle(0.0, 0.0, 0.05),))
SLOTTED = Outline.rectangular(0.2, 0.1, (slot(0.02, 0.01, 0.11, 0.013, 0.4), circle(-0.07, -0.02, 0.02)))
OUTLINES = {"head": HEAD, "L": L_SHAPE, "ring": ROUND, "slotted": SLOTTED}


@pytest.mark.parametrize("name", OUTLINES)
@pytest.mark.parametrize("cells", [60, 700, 3000])
def test_area_and_first_moments_are_those_of_the_outline(name, cells):
    """Closed form: polygon moments of the rim less those of its openings."""
    outline = OUTLINES[name]
    grid = make_grid(outline, cells=cells)
    assert grid.area.sum() == pytest.approx(outline.area, rel=1e-12)
    want = np.array(polygon_moments(outline.rim)) - sum(
        np.array(polygon_moments(o)) for o in outline.openings
    )
    size = outline.area * outline.length
    # Slivers below a thousandth of a cell are merged.
    assert grid.area @ grid.u == pytest.approx(want[1], abs=2e-5 * size)
    assert grid.area @ grid.v == pytest.approx(want[2], abs=2e-5 * size)
    assert np.all(grid.area[: grid.n_cells] > 0.0)
    assert np.all(grid.area[grid.n_cells :] == 0.0)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.05, 0.4),
    st.floats(0.05, 0.4),
    st.floats(0.004, 0.05),
    st.floats(-0.3, 0.3),
    st.floats(-0.3, 0.3),
)
def test_any_rectangle_with_a_bore(length, width, cell, at_u, at_v):
    bore = 0.3 * min(length, width)
    outline = Outline.rectangular(length, width, (circle(at_u * length / 2, at_v * width / 2, bore),))
    grid = make_grid(outline, cell=cell)
    assert grid.area.sum() == pytest.approx(outline.area, rel=1e-12)
    assert grid.cell_size <= cell * (1 + 1e-9)
    assert np.all(np.abs(grid.u) <= length / 2 + 1e-12) and np.all(np.abs(grid.v) <= width / 2 + 1e-12)


def test_cells_of_a_plain_rectangle():
    """Closed form: equal cells about their middles; second moment L²/12·(1 − 1/n²)."""
    grid = make_grid(Outline.rectangular(0.2, 0.1), cell=0.01)
    assert grid.n_cells == 200
    np.testing.assert_allclose(grid.area[:200], 1e-4)
    assert np.unique(np.round(grid.u[:200], 9)).tolist() == pytest.approx(np.arange(-0.095, 0.1, 0.01))
    assert np.mean(grid.u[:200] ** 2) == pytest.approx(0.2**2 / 12 * (1 - 1 / 400))


def test_number_of_cells_is_about_what_was_asked():
    for outline in OUTLINES.values():
        assert make_grid(outline, cells=3000).n_cells == pytest.approx(3000, rel=0.15)


def test_edge_points_reach_the_very_edge():
    grid = make_grid(HEAD, cell=0.01)
    rim = grid.part("rim")
    assert np.abs(grid.u[rim]).max() == pytest.approx(0.22)
    assert np.abs(grid.u[: grid.n_cells]).max() == pytest.approx(0.215, abs=1e-6)
    bores = grid.part("openings")
    nearest = np.min(
        [np.hypot(grid.u[bores] - u, grid.v[bores]) for u in (-0.165, -0.055, 0.055, 0.165)], axis=0
    )
    np.testing.assert_allclose(nearest, 0.04, rtol=2e-3)


def test_points_to_follow_stand_where_they_were_put():
    track = np.array([[0.0, 0.05], [0.01, 0.06], [0.2, -0.07]])
    grid = make_grid(HEAD, cell=0.02, follow={"track": track, "one": track[:1]})
    np.testing.assert_array_equal(grid.points[grid.part("track")], track)
    np.testing.assert_array_equal(grid.points[grid.part("one")], track[:1])
    bare = make_grid(HEAD, cell=0.02, rim=False)
    assert bare.u.size == bare.n_cells


def test_map_has_row_nought_at_the_lowest_v_and_nothing_off_the_metal():
    grid = make_grid(HEAD, cell=0.01)
    raster = grid.as_map(grid.v)
    assert raster.shape == (grid.v_edges.size - 1, grid.u_edges.size - 1)
    assert np.nanmin(raster[0]) == pytest.approx(-0.07)
    assert np.all(np.diff(np.nanmean(raster, axis=1)) > 0.0)
    at = grid.as_map(grid.u)
    assert np.all(np.diff(np.nanmean(at, axis=0)) > 0.0)
    middle = np.searchsorted(grid.u_edges, 0.055)
    assert np.isnan(raster[raster.shape[0] // 2, middle])


def test_no_metal_is_refused():
    with pytest.raises(ValueError, match="leaves no metal"):
        make_grid(Outline(rectangle(0.1, 0.1), (rectangle(0.1, 0.1),)), cell=0.01)
