"""A part that hangs over the edge of the paper, worn in: no tension between face and paper.

Source: closed form (linear pressure without tension; the eccentric footing of the
foundation-engineering handbooks).  A fraction f of the length hangs over, the load is central:
greatest pressure over W/A and contact length over L are 2.188 and 0.80 at f 0.20, 2.667 and 0.75
at 0.25, 6.667 and 0.30 at 0.40; from one half on the part tips.
"""

from dataclasses import replace

import numpy as np
import pytest
from jobs import job, lap

from handlap.sim.common.errors import TippingError
from handlap.sim.lapping.simulate import simulate

LENGTH, WIDTH, COLUMNS = 0.2, 0.05, 100


def overhanging(f):
    """A job whose paper ends a fraction f of the length short of the part's end."""
    edge = LENGTH / 2 - f * LENGTH
    return job(
        length=LENGTH, width=WIDTH, bedding=1e-6, travel=1e-6, strips=[(-0.9, -0.5, edge, 0.5)], rate=1e-9
    )


@pytest.mark.parametrize(
    ("f", "greatest", "contact"), [(0.2, 2.188, 0.8), (0.25, 2.667, 0.75), (0.4, 6.667, 0.3)]
)
def test_pressure_of_a_worn_in_overhanging_part(checked, f, greatest, contact):
    strokes = 400_000_000
    done = lap(
        overhanging(f), None, strokes, rows=160, cell=LENGTH / COLUMNS, snapshots=(strokes * 9 // 10, strokes)
    )
    grid, n = done.rig.grid, done.rig.grid.n_cells
    rate = (done.run.heights[0] - done.run.heights[1])[:n]
    u, cell = grid.u[:n], LENGTH / COLUMNS
    share = rate / (rate @ grid.area[:n]) * grid.area[:n].sum()
    expected, end = line_without_tension(u, f, greatest)
    # The cell in which contact ends sees part of a kink; every other follows the line.
    away = (np.abs(u - end) > 1.5 * cell) & (u < LENGTH / 2 - f * LENGTH)
    source = "linear pressure without tension over what lies on the paper (eccentric footing)"
    checked(
        f"rate of wear over the mean at every cell, {100 * f:.0f} % of the part over the edge",
        expected=expected[away],
        got=share[away],
        tolerance=2e-3 * greatest,
        kind="closed form",
        source=source,
        about="edges of the paper",
    )
    assert np.all(share[u > LENGTH / 2 - f * LENGTH + cell] == 0.0)
    touching = np.ptp(u[share > 0.5 * greatest / COLUMNS]) + cell
    checked(
        f"length in contact over the part's, {100 * f:.0f} % of it over the edge",
        expected=contact,
        got=touching / LENGTH,
        tolerance=2.0 * cell / LENGTH,
        kind="closed form",
        source=source,
        about="edges of the paper",
    )


def line_without_tension(u, f, greatest):
    """Pressure over W/A at u, and where contact ends [m]; the length that bears is (1 − f)·L."""
    edge, bears = LENGTH / 2 - f * LENGTH, LENGTH * (1.0 - f)
    if 3.0 * edge <= bears:
        end = edge - 3.0 * edge
        return greatest * np.clip(1.0 - (edge - u) / (3.0 * edge), 0.0, None), end
    least = 2.0 / (1.0 - f) - greatest
    return least + (greatest - least) * (1.0 - (edge - u) / bears), -LENGTH / 2


@pytest.mark.parametrize("f", [0.51, 0.6])
def test_half_and_more_tips_off_and_is_refused_in_words(f):
    flat = job(length=LENGTH, width=WIDTH, face=lambda u, v: 0.0 * u)
    with pytest.raises(TippingError, match="keep more of the part on the paper"):
        simulate(replace(overhanging(f), readings=flat.readings), strokes=10)
