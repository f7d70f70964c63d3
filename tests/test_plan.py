"""A plan over a small ensemble: what must hold for every job, and for every seed."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, is_dataclass, replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from jobs import P80, UM, crown, hollow, job

from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.common.grid import Grid
from handlap.sim.job.results import Band, Figures, Plan
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.materials import grits
from handlap.sim.planning.leg import ToGoal, measure, stops_at
from handlap.sim.planning.plan import make_plan

BUILT_IN = ("formula-check", "two-cylinder-head")
MEMBERS = 8


@cache
def planned(name: str, seed: int = 0) -> Plan:
    return make_plan(load(name), members=MEMBERS, seed=seed)


def warped(**changes: Any) -> Scenario:
    """A hollow face known exactly, hands and paper known to a spread."""
    given: dict[str, Any] = dict(
        length=0.2, width=0.1, reach=0.01, ages=True, turn_every=None, brush_every=None, sheet_every=None,
        states=((0.0, 0.0), (np.pi, 0.0)), travel=0.1, face=hollow(60 * UM, 0.1), limit=20 * UM,
        allowance=120 * UM, papers=(P80, grits.find("P240")), wobble=(0.003, 0.003), plate=(0.6, 0.4),
        cell=0.008,
    )  # fmt: skip
    known = job(**(given | changes))
    wear = replace(
        known.wear, rate=Uncertain(0.045e-9, 0.02e-9, 0.1e-9, "lognormal", "wear.rate"), bedding_length=None
    )
    return replace(known, wear=wear)


@cache
def planned_warped(seed: int = 0) -> Plan:
    return make_plan(warped(), members=MEMBERS, seed=seed)


def plans() -> list[Any]:
    return [pytest.param(name, id=name) for name in (*BUILT_IN, "warped")]


@pytest.fixture(params=plans())
def plan(request: pytest.FixtureRequest) -> Plan:
    return planned_warped() if request.param == "warped" else planned(request.param)


def bands(thing: Any, path: str = "") -> Iterator[tuple[str, Band]]:
    if isinstance(thing, Band):
        yield path, thing
    elif isinstance(thing, Scenario):
        return
    elif is_dataclass(thing):
        for f in fields(thing):
            yield from bands(getattr(thing, f.name), f"{path}.{f.name}")
    elif isinstance(thing, tuple):
        for i, inner in enumerate(thing):
            yield from bands(inner, f"{path}[{i}]")


def numbers(thing: Any) -> Iterator[float]:
    if isinstance(thing, float):
        yield thing
    elif isinstance(thing, np.ndarray):
        yield from np.asarray(thing, dtype=float).ravel()
    elif is_dataclass(thing) and not isinstance(thing, Scenario | Grid):
        for f in fields(thing):
            yield from numbers(getattr(thing, f.name))
    elif isinstance(thing, tuple):
        for inner in thing:
            yield from numbers(inner)


# ---- what must hold for every job


def test_bands_are_ordered(plan):
    found = list(bands(plan))
    # A face that is left alone has no stages with bands of their own.
    assert len(found) > (15 if plan.stages else 10)
    for path, band in found:
        assert band.p05 <= band.p50 <= band.p95, path


def test_no_number_is_lost(plan):
    assert all(np.isfinite(x) for x in numbers(plan))


def test_chances_are_chances(plan):
    for chance in (plan.chance.flat_already, plan.chance.goal, plan.chance.both, plan.clipped, plan.tipped):
        assert 0.0 <= chance <= 1.0
    assert plan.chance.both <= plan.chance.goal
    if plan.chance.allowance is not None:
        assert plan.chance.both <= plan.chance.allowance
    for stage in plan.stages:
        for check in stage.checks:
            assert 0.0 <= check.reached <= 1.0
            assert check.worse_next is None or 0.0 <= check.worse_next <= 1.0
            assert check.dye_gone_map.min() >= 0.0 and check.dye_gone_map.max() <= 1.0
            assert 0.0 <= check.dye_left.p05 and check.dye_left.p95 <= 1.0
            assert np.all(check.dye_gone_map <= check.dye_faded_map) and check.dye_faded_map.max() <= 1.0
            gone, faded = check.dye_left.rest, check.dye_faded
            pairs = ((gone.p05, faded.p05), (gone.p50, faded.p50), (gone.p95, faded.p95))
            assert all(g <= f + 1e-12 for g, f in pairs)


def test_mass_is_density_times_area_times_mean_depth_for_every_member(plan):
    """Definition, 1e-9 relative, and the same in the looks' bands."""
    part = plan.scenario.part
    factor = part.metal.density * part.outline.area
    np.testing.assert_allclose(plan.member_mass, factor * plan.member_mean_depth, rtol=1e-9)
    assert plan.member_mass.shape == (MEMBERS,)
    for stage in plan.stages:
        for check in stage.checks:
            assert check.mass.p50 == pytest.approx(factor * check.mean_depth.p50, rel=1e-9)


def test_looks_come_in_order_and_metal_only_goes(plan):
    for stage in plan.stages:
        assert stage.checks
        strokes = [check.strokes for check in stage.checks]
        assert strokes == sorted(set(strokes))
        for first, then in pairwise(stage.checks):
            assert then.mean_depth.p50 > first.mean_depth.p50
            assert then.greatest_depth.p50 >= first.greatest_depth.p50 - 1e-12
            assert then.reached >= first.reached
        for check in stage.checks:
            assert check.greatest_depth.p50 >= check.mean_depth.p50 - 1e-12
    for before, after in pairwise(plan.stages):
        assert after.checks[0].strokes > before.strokes
    assert np.all(np.diff(plan.curve.strokes) > 0)
    assert np.all(np.diff(plan.curve.mean_depth, axis=0) > 0.0)


def test_papers_go_from_coarse_to_fine(plan):
    grains = [grits.find(stage.paper).diameter for stage in plan.stages]
    assert grains == sorted(grains, reverse=True)


def test_effort_adds_up(plan):
    assert plan.effort.sheets == sum(stage.sheets for stage in plan.stages) >= len(plan.stages)
    assert plan.effort.brushings == sum(stage.brushings for stage in plan.stages)
    area = plan.scenario.part.outline.area
    assert plan.removed.volume.p50 == pytest.approx(area * plan.removed.mean.p50, rel=1e-9)
    assert plan.removed.greatest.p95 >= plan.removed.mean.p95


def test_maps_belong_to_one_member(plan):
    np.testing.assert_allclose(plan.map_removed, plan.map_before - plan.map_after, atol=1e-12)
    # Heights of the ensemble are kept in single precision: 1e-7 of some 100 µm.
    assert plan.map_removed.min() > -1e-10
    assert plan.map_before_sd.shape == plan.map_before.shape == plan.grid.u.shape


# ---- seeds and threads


def same(a: Plan, b: Plan) -> bool:
    x, y = (list(numbers(p)) for p in (a, b))
    return len(x) == len(y) and np.array_equal(x, y)


def test_same_seed_same_answer_on_however_many_threads():
    with ThreadPoolExecutor(1) as one:
        alone = make_plan(warped(), members=MEMBERS, executor=one)
    assert same(alone, planned_warped())
    assert alone.verdict == planned_warped().verdict


def test_another_seed_gives_a_similar_answer():
    first, other = planned_warped(0), planned_warped(1)
    assert not same(first, other)
    assert other.effort.strokes.p50 == pytest.approx(first.effort.strokes.p50, rel=0.5)
    assert other.removed.mean.p50 == pytest.approx(first.removed.mean.p50, rel=0.3)
    assert abs(other.chance.both - first.chance.both) <= 0.5


# ---- answers


def test_a_flat_face_is_left_alone():
    assert planned("formula-check").verdict.answer == "leave"
    assert planned("formula-check").chance.flat_already == 1.0


def test_a_hollow_face_inside_a_wide_allowance_is_lapped():
    found = planned_warped()
    assert found.verdict.answer == "lap"
    assert found.before.flatness.p50 == pytest.approx(60 * UM, rel=1e-3)
    assert found.after.flatness.p50 < 20 * UM
    # Closed form, λ → 0: a parabola c·x² cut down to the level r loses c/3·(1 − q³) − r·(1 − q) on
    # average, q = √(r/c).  Soft paper takes some off the bottom as well.
    q = np.sqrt(20 / 60)
    assert found.removed.mean.p05 > (60 / 3 * (1 - q**3) - 20 * (1 - q)) * UM


def test_an_allowance_too_small_goes_to_the_shop():
    found = make_plan(warped(allowance=20 * UM), members=MEMBERS)
    assert found.verdict.answer == "machine shop"
    assert any("allowance" in reason for reason in found.verdict.reasons)


def test_a_limit_below_what_hands_can_do_goes_to_the_shop_with_a_best_point():
    """High, one-sided strokes on a soft coarse paper: it gets flatter, then rounds; never 3 µm."""
    found = make_plan(
        warped(limit=3 * UM, reach=0.035, papers=(grits.find("P60"),), wobble=(0.01, 0.01)), members=MEMBERS
    )
    assert found.verdict.answer == "machine shop"
    assert found.best_point is not None
    assert found.best_point.flatness.p50 == pytest.approx(found.curve.flatness[:, 1].min(), rel=1e-6)
    assert found.best_point.strokes < found.curve.strokes[-1]


def test_a_tipping_grip_is_refused():
    with pytest.raises(TippingError, match="tips over"):
        make_plan(warped(bias=(0.12, 0.0)), members=2)


@pytest.mark.parametrize("members", [0, 1, 100_000])
def test_members_out_of_range(members):
    with pytest.raises(InputError, match="allowed is 2 to"):
        make_plan(warped(), members=members)


def test_progress_goes_from_nought_to_one():
    told: list[float] = []
    make_plan(warped(face=crown(30 * UM, 0.1)), members=2, progress=lambda done, what: told.append(done))
    assert told[0] == 0.0 and told[-1] == 1.0
    assert told == sorted(told)


# ---- where members stop


def test_members_stop_at_the_goal_or_at_their_best():
    measured = np.array([[9, 7, 4, 3, 2], [9, 8, 7, 6, 5.5], [9, 6, 5.5, 7, 8], [3, 2, 9, 9, 9]], dtype=float)
    strokes = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    stops, reached = stops_at(strokes, measured, np.full(4, 5), 5.0)
    # The first two thirds of the way from its look at 7 to that at 4; nobody stops before looking once.
    assert stops.tolist() == pytest.approx([20.0 + 10.0 * 2 / 3, 50.0, 30.0, 10.0])
    assert reached.tolist() == [True, False, False, True]
    best = []
    for row in measured:
        found = ToGoal(5.0, 0).find(strokes, row, (), True)
        assert found is not None
        best.append(found.at_best)
    # Only the third has passed its best point; the second was still improving.
    assert best == [False, False, True, False]


def test_a_face_that_gets_no_better_stops_where_it_came_to_rest():
    """Half a micrometre is no better: the very least of a face at rest falls on any look by chance."""
    strokes = 10.0 * np.arange(1, 7)
    for last in ([20.3, 20.0, 20.1], [20.0, 20.3, 20.1]):
        found = ToGoal(5.0 * UM, 0).find(strokes, UM * np.array([40.0, 25.0, 20.4, *last]), (), True)
        assert found is not None and found.look == 2 and found.at_best
    # What still gets better where work ends, however slowly, is not at rest.
    found = ToGoal(5.0 * UM, 0).find(strokes, UM * np.array([40.0, 25.0, 20.4, 20.3, 20.2, 20.0]), (), True)
    assert found is not None and found.look == 5 and not found.at_best


def test_nobody_gives_up_before_worse_has_followed_for_long():
    rule = ToGoal(5.0, 50)

    def found(measured: list[float]) -> object:
        strokes = 10.0 * np.arange(1, len(measured) + 1)
        return rule.find(strokes, np.array(measured), (), False)

    assert found([9.0, 6.0, 7.0, 8.0]) is None
    assert found([9.0, 6.0, 7.0, 8.0, 9.0]) is not None
    assert found([9.0, 8.0, 7.0, 6.0, 7.0]) is None
    assert found([9.0, 8.0, 7.0, 6.0, 7.0, 7.0]) is None
    assert found([9.0, 8.0, 7.0, 6.0, 7.0, 7.0, 7.0]) is not None


def test_the_limit_is_held_against_its_own_figure():
    zero = np.zeros(2)
    figures = Figures(np.array([3.0, 4.0]), np.array([1.0, 2.0]), zero, zero, zero, zero)
    assert measure(figures, "zone").tolist() == [3.0, 4.0]
    assert measure(figures, "straightedge").tolist() == [1.0, 2.0]
