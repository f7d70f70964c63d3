"""A rigid block under an eccentric load that no tension holds: what a face shows once wear ≫ λ.

Kind: closed forms of foundation engineering (trapezium and triangle of pressure under a rigid
footing; the two-axis cases by exact integration over the polygon in contact, done outside this
program) and one worked example.  A rigid part wears as a plane that sinks and turns, so the rate
of removal is linear over the contact and nought beyond it, however far the metal is from being
a spring.  K = p_max·A/F.

Asked for: 0.2 %.  The sums over n cells replace L² by L²(1 − 1/n²), below 0.05 % here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from jobs import job, lap

from handlap.sim.common.outline import Array

FOOTING = "rigid footing without tension, of foundation engineering; polygon in contact solved exactly"
LOAD, RATE = 100.0, 0.045e-9


@dataclass(frozen=True)
class Shown:
    """Rate of removal over its mean: at the cells, in the highest corner, and its plane."""

    u: Array
    v: Array
    cells: Array
    peak: float
    plane: Array
    contact: float


@cache
def shown(ex: float, ey: float, *, columns: int = 120, rows: int = 12) -> Shown:
    """Lap a flat face 1000 bedding lengths deep under a load at (ex·L, ey·B) and take its rate."""
    length = 0.24
    width = length * rows / columns
    bedding = 5e-6
    depth = 1000 * bedding
    strokes = round(depth * length * width / (RATE * LOAD * 0.2))
    scenario = job(
        length=length, width=width, bedding=bedding, load=LOAD, load_at=(ex * length, ey * width), travel=0.1
    )
    found = lap(scenario, None, strokes, rows=4000, cell=length / columns, snapshots=(strokes // 2,))
    grid, area = found.rig.grid, length * width
    half = (strokes - strokes // 2) * 0.2 * RATE * LOAD / area
    rate = (found.run.heights[0] - found.run.heights[1]) / half
    u, v, rate_cells = 2 * grid.u / length, 2 * grid.v / width, rate[: grid.n_cells]
    seat = rate_cells > 0.1 * rate_cells.max()
    basis = np.column_stack([np.ones(grid.n_cells), u[: grid.n_cells], v[: grid.n_cells]])
    plane = np.linalg.lstsq(basis[seat], rate_cells[seat], rcond=None)[0]
    # Area where that plane is above nought, on a raster far finer than the cells.
    fine = (np.arange(2000) + 0.5) / 1000 - 1.0
    contact = float(np.mean(plane[0] + plane[1] * fine[:, None] + plane[2] * fine[None, :] > 0.0))
    corner = np.argmax(u + v)
    return Shown(u[: grid.n_cells], v[: grid.n_cells], rate_cells, float(rate[corner]), plane, contact)


def held_to_a_footing(checked, s: Shown, load: str, k: float, contact: float | None = None) -> None:
    """Within 0.2 %: the greatest rate, and the share in contact where that is less than all."""
    for name, expected, got in (
        ("greatest rate of wear over the mean", k, s.peak),
        ("share of the face in contact", contact, s.contact),
    ):
        if expected is not None:
            checked(
                f"{name}, load at {load}",
                expected=expected,
                got=got,
                tolerance=2e-3 * expected,
                kind="closed form",
                source=FOOTING,
                about="pose of the part",
            )


@pytest.mark.parametrize("e", [0.05, 0.10, 0.15])
def test_inside_the_kern(checked, e):
    """Closed form: p/p_mean = 1 + 12·e·x/L² at every cell centre."""
    s = shown(e, 0.0)
    np.testing.assert_allclose(s.cells, 1.0 + 6.0 * e * s.u, rtol=2e-3)
    held_to_a_footing(checked, s, f"{e:g} of the length", 1.0 + 6.0 * e)


def test_inside_the_kern_on_both_axes(checked):
    """Closed form: K = 1 + 6·ex/L + 6·ey/B while |ex|/L + |ey|/B ≤ 1/6."""
    s = shown(0.08, 0.05, columns=60, rows=40)
    np.testing.assert_allclose(s.cells, 1.0 + 6.0 * 0.08 * s.u + 6.0 * 0.05 * s.v, rtol=2e-3)
    held_to_a_footing(checked, s, "0.08 and 0.05 of length and width", 1.0 + 6.0 * 0.13)


@pytest.mark.parametrize(("e", "k", "contact"), [(0.25, 2.6667, 0.75), (0.35, 4.4444, 0.45)])
def test_beyond_the_kern_on_one_axis(checked, e, k, contact):
    """Closed form: contact length 3(L/2 − e), K = 4/(3(1 − 2e/L)); figures to five digits."""
    s = shown(e, 0.0)
    held_to_a_footing(checked, s, f"{e:g} of the length", k, contact)
    want = np.maximum(k * (1.0 - (1.0 - s.u) / (2.0 * contact)), 0.0)
    np.testing.assert_allclose(s.cells, want, rtol=0.0, atol=2e-3 * k)


@pytest.mark.parametrize(
    ("ex", "ey", "k", "contact"),
    [(0.15, 0.15, 2.97110, 0.85950), (0.25, 0.10, 3.59364, 0.70627), (0.30, 0.20, 6.22630, 0.46916)],
)
def test_beyond_the_kern_on_two_axes(checked, ex, ey, k, contact):
    """Closed form: exact solution over the polygon in contact, six digits; 0.2 % of the grid."""
    s = shown(ex, ey, columns=90, rows=60)
    held_to_a_footing(checked, s, f"{ex:g} and {ey:g} of length and width", k, contact)
    assert s.plane.sum() == pytest.approx(k, rel=2e-3)


def test_corner_triangle(checked):
    """Closed form: both ≥ ¼: contact a triangle of legs 4(L/2 − e), p_max = 3F/(8(L/2−ex)(B/2−ey))."""
    s = shown(0.30, 0.28, columns=90, rows=60)
    checked(
        "greatest rate of wear over the mean, contact a triangle in one corner",
        expected=3.0 / (8.0 * 0.20 * 0.22),
        got=s.peak,
        tolerance=2e-3 * 3.0 / (8.0 * 0.20 * 0.22),
        kind="closed form",
        source=FOOTING,
        about="pose of the part",
    )
    assert s.contact == pytest.approx(0.5 * (4 * 0.20) * (4 * 0.22), rel=2e-3)


def test_footing_of_a_worked_example(checked):
    """Worked example (from memory of a foundation text): 7 × 7 m, V 2687.5 kN, M 4200 kN·m.

    Printed: contact over 5.811 m, 132.2 kPa; exact 132.12.  The scale of a linear pressure does
    not matter, so the face of a small part stands for the base.
    """
    side, force, moment = 7.0, 2687.5, 4200.0
    s = shown(moment / force / side, 0.0)
    for name, expected, got, tolerance, unit in (
        ("contact of a footing 7 m square, 2687.5 kN, 4200 kN·m", 5.811, s.contact * side, 0.005, "m"),
        ("greatest pressure under it", 132.12, s.peak * force / side**2, 2e-3 * 132.12, "kPa"),
    ):
        checked(
            name, expected=expected, got=got, tolerance=tolerance, unit=unit, kind="from memory",
            source="worked example of a foundation text", about="pose of the part",
        )  # fmt: skip
