"""One sheet of paper in use: depth against strokes, when to change it, and the minutes of it all."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import UM, job, lap, middle
from scipy.integrate import solve_ivp

from handlap.sim.lapping.conditions import law_of
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.lapping.sheet import (
    BRUSH_MINUTES,
    SHEET_MINUTES,
    Sheet,
    depth_per_stroke,
    one_sheet,
    swept_area,
)
from handlap.sim.materials import grits, metals

GRADES = ("P400", "P240", "P180", "P150", "P120", "P100", "P80", "P60", "P50", "P40")
"""Fine to coarse."""
PACE = 40.0


def sheet_of(grade: str, *, metal: str = "A356", brush_every: int = 50, **more: Any) -> Sheet:
    base = job(papers=(grits.find("P120"),), rate=0.068e-9, ages=True, travel=0.1, **more)
    scenario = replace(base, part=replace(base.part, metal=metals.find(metal)))
    return one_sheet(scenario, middle(scenario), grits.find(grade), brush_every=brush_every, pace=PACE)


@pytest.mark.parametrize("grade", ["P60", "P120", "P400"])
@pytest.mark.parametrize("brush_every", [0, 50])
def test_depth_on_one_sheet_against_the_law_of_the_paper(checked, grade, brush_every):
    """Independent route: dv/ds = rate·f_load·f_dull by scipy, brushed on its strokes."""
    base = job(papers=(grits.find("P120"),), rate=0.068e-9, ages=True, travel=0.1)
    conditions, grit = middle(base), grits.find(grade)
    found = one_sheet(base, conditions, grit, brush_every=brush_every, pace=PACE)
    law = law_of(base, conditions, grit)
    on_paper = depth_per_stroke(base, conditions, grit) * base.part.outline.area / swept_area(base)

    def rate(_: float, v: Any) -> Any:
        return np.full(3, on_paper * law.power(v[1], v[2]))

    now, want, at = np.zeros(3), [], np.arange(50, 601, 50)
    for end in at:
        now = solve_ivp(rate, (0.0, 50.0), now, rtol=1e-9, atol=1e-15).y[:, -1]
        want.append(now[0])
        if brush_every and end % brush_every == 0:
            now[1] *= 1.0 - law.brushing
    got = np.interp(at, found.strokes, found.depth) * base.part.outline.area / swept_area(base)
    checked(
        f"metal cut per area of one sheet of {grade} in 600 strokes, "
        + (f"brushed every {brush_every}" if brush_every else "never brushed"),
        expected=np.array(want) / UM,
        got=got / UM,
        # Steps of 6 or 10 strokes age fine paper by half a scale.
        tolerance=0.02 * want[-1] / UM,
        unit="µm",
        kind="independent implementation",
        source="dv/ds = rate·f_load·f_dull by scipy",
        about="paper",
    )


@pytest.mark.parametrize("wet", [False, True])
@pytest.mark.parametrize("metal", ["A356", "grey iron", "mild steel", "brass"])
def test_coarser_paper_takes_more_off_at_any_number_of_strokes(metal, wet):
    for fine, coarse in pairwise(sheet_of(grade, metal=metal, wet=wet) for grade in GRADES):
        assert np.all(coarse.depth >= fine.depth * (1 - 1e-9))


@pytest.mark.parametrize("wet", [False, True])
@pytest.mark.parametrize(
    ("metal", "press"),
    [
        ("A356", 50.0),
        ("A356", 100.0),
        ("A356", 200.0),
        ("brass", 100.0),
        ("grey iron", 50.0),
        ("mild steel", 50.0),
    ],
)
def test_sheet_life_does_not_fall_with_the_grain(metal, wet, press):
    """Best change of the sheet, to the step in which a sheet is followed.

    As long as changing pays: hard pressed on iron (from some 4 kPa), paper is blunt long before a change has
    paid for its three minutes, and blunt paper that is brushed goes on as it is.
    """
    lives = [sheet_of(grade, metal=metal, wet=wet, press=press).best_change() for grade in GRADES]
    assert all(coarse >= fine - 50 / 8 for fine, coarse in pairwise(lives))
    assert lives[-1] < 1000


def test_where_blunt_paper_goes_on_as_it_is_the_sheet_is_kept():
    sheet = sheet_of("P120", metal="grey iron", press=200.0)
    assert sheet.best_change() > 0.99 * sheet.strokes[-1]
    need = 3.0 * sheet.depth[-1]
    assert sheet.to_take(need, 0.0)[1] < min(sheet.to_take(need, n)[1] for n in (50.0, 150.0, 400.0))


def test_a_sheet_lasts_some_minutes():
    """Fitted to: common practice, some five minutes of work a sheet from P60 to P120, dry."""
    for grade in ("P60", "P80", "P120"):
        base = job(
            length=0.24, width=0.14, papers=(grits.find("P120"),), rate=0.068e-9, ages=True, travel=0.1,
            brush_every=None, sheet_every=None, press=60.0,
        )  # fmt: skip
        rhythm = choose_rhythm(base, middle(base), grits.find(grade))
        assert 3.0 < rhythm.sheet_every / PACE < 15.0
        assert rhythm.brush_every and rhythm.sheet_every % rhythm.brush_every == 0


def test_the_best_change_is_where_metal_per_minute_is_greatest():
    """Independent route: every change of the sheet tried, work done until much has come off."""
    sheet = sheet_of("P80")
    need = 40.0 * sheet.depth[-1]
    best = sheet.best_change()
    minutes = {float(s): sheet.to_take(need, float(s))[1] for s in sheet.strokes[4::4]}
    quickest = min(minutes, key=lambda s: minutes[s])
    assert sheet.to_take(need, best)[1] <= min(minutes.values()) * 1.01
    assert best == pytest.approx(quickest, rel=0.15)


def test_minutes_of_strokes_brushing_and_sheets():
    """Worked by hand: 120 strokes at 40 a minute, brushed at 50 and 100: 3 min + 2 × 0.25."""
    sheet = Sheet(np.array([0.0, 100.0, 200.0]), np.array([0.0, 10 * UM, 15 * UM]), 50, 40.0)
    assert sheet.minutes(120.0) == pytest.approx(3.0 + 2 * BRUSH_MINUTES)
    # 26 µm with a change every 100 strokes: two whole sheets and sixty strokes of a third.
    strokes, minutes = sheet.to_take(26 * UM, 100.0)
    assert strokes == pytest.approx(260.0)
    assert minutes == pytest.approx(3 * SHEET_MINUTES + 260 / 40 + (2 + 2 + 1) * BRUSH_MINUTES)
    # Never changed: along the one sheet.
    strokes, minutes = sheet.to_take(13 * UM, 0.0)
    assert strokes == pytest.approx(160.0)
    assert minutes == pytest.approx(SHEET_MINUTES + 160 / 40 + 3 * BRUSH_MINUTES)
    assert sheet.to_take(0.0, 100.0) == pytest.approx((0.0, SHEET_MINUTES))


@settings(max_examples=40)
@given(st.floats(0.0, 300e-6), st.floats(0.0, 300e-6), st.sampled_from([0.0, 100.0, 250.0]))
def test_more_metal_never_takes_less_time(a, b, change):
    sheet = sheet_of("P120")
    low, high = sorted((a, b))
    first, then = (sheet.to_take(need, change) for need in (low, high))
    assert first[0] <= then[0] * (1 + 1e-12) + 1e-9 and first[1] <= then[1] * (1 + 1e-12) + 1e-9


def test_paper_that_does_not_age_is_never_worth_changing():
    base = job(travel=0.1)
    sheet = one_sheet(base, middle(base), grits.find("P120"), brush_every=0, pace=PACE)
    assert sheet.best_change() == sheet.strokes[-1]
    np.testing.assert_allclose(
        sheet.depth, depth_per_stroke(base, middle(base), grits.find("P120")) * sheet.strokes
    )


def test_one_number_for_the_paper_comes_near_what_the_lap_takes():
    """Evenly used paper against the lap that follows it spot by spot: metal off, within a fifth."""
    scenario = job(ages=True, travel=0.1, brush_every=50)
    sheet = one_sheet(scenario, middle(scenario), scenario.paper.grits[0], brush_every=50, pace=PACE)
    for strokes in (100, 400):
        found = lap(scenario, None, strokes, rows=400)
        lapped = found.run.removed_volume / scenario.part.outline.area
        assert np.interp(strokes, sheet.strokes, sheet.depth) == pytest.approx(lapped, rel=0.2)
