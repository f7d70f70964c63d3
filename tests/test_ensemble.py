"""Members of an ensemble: how they are drawn, and that threads change nothing."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from jobs import P80, UM, hollow, job
from scipy.stats import norm, qmc

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ensemble import (
    HAND_SCORES,
    PAPER_NAMES,
    PAPER_SCORES,
    SCORES,
    TAIL,
    conditions_at,
    draw_scores,
    run_members,
    strokes_per_minute,
)
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.set_up import set_up
from handlap.sim.materials.paper_law import MIDDLE, PaperTraits


def spread() -> Scenario:
    """A job with one quantity of each law left open."""
    known = job(ages=True, reach=0.02, face=hollow(80 * UM, 0.12))
    wear = replace(known.wear, rate=Uncertain(0.045e-9, 0.015e-9, 0.135e-9, "lognormal", "wear.rate"))
    hands = replace(
        known.hands,
        press=Uncertain(60.0, 40.0, 90.0, "lognormal", "hands.press"),
        bias_along=Uncertain(0.0, -0.01, 0.01, "normal", "hands.bias_along"),
    )
    return replace(known, wear=wear, hands=hands)


def test_scores_are_standard_normal_and_cut_at_the_tails():
    """Independent route: quantiles of the normal law; the sample is low-discrepancy, so close.

    The luck of grades is drawn one by one, and is as far off as 1,024 draws may be.
    """
    z = draw_scores(1024, 3)
    assert z.shape == (1024, len(SCORES))
    assert np.abs(z).max() <= norm.ppf(1 - TAIL) + 1e-12
    spread = len(HAND_SCORES) + len(PAPER_SCORES)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        want = norm.ppf(share)
        np.testing.assert_allclose(np.quantile(z[:, :spread], share, axis=0), want, atol=0.02)
        # Four standard errors of a quantile.
        error = 4.0 * np.sqrt(share * (1 - share) / 1024) / norm.pdf(want)
        np.testing.assert_allclose(np.quantile(z[:, spread:], share, axis=0), want, atol=error)
    # Columns are drawn independently of one another: a correlation of chance is some 1/√1,024.
    off = np.corrcoef(z.T) - np.eye(len(SCORES))
    assert np.abs(off[:spread, :spread]).max() < 0.05
    assert np.abs(off).max() < 5.0 / np.sqrt(1024)


def test_same_seed_same_scores_and_members_do_not_depend_on_their_number():
    assert np.array_equal(draw_scores(16, 1), draw_scores(16, 1))
    assert np.array_equal(draw_scores(16, 1), draw_scores(64, 1)[:16])
    assert not np.array_equal(draw_scores(16, 1), draw_scores(16, 2))


@pytest.mark.parametrize("seed", [0, 5])
def test_what_is_drawn_of_paper_leaves_the_hands_of_a_seed_as_they_were(seed):
    """Hands and rates come from a sequence of twelve of their own, as before paper had any draws."""
    points = qmc.Sobol(12, scramble=True, seed=seed).random_base2(4)
    want = norm.ppf(np.clip(points, TAIL, 1.0 - TAIL))
    assert HAND_SCORES[:4] == ("rate", "bedding", "friction", "ageing") and len(HAND_SCORES) == 12
    np.testing.assert_array_equal(draw_scores(16, seed)[:, :12], want)


def test_zero_scores_give_the_medians_and_a_score_its_own_quantity_alone():
    scenario = spread()
    at_middle = conditions_at(scenario, np.zeros(len(SCORES)))
    assert at_middle.rate == pytest.approx(0.045e-9)
    assert at_middle.grip.press == pytest.approx(60.0)
    one = np.zeros(len(SCORES))
    one[SCORES.index("press")] = norm.ppf(0.95)
    changed = conditions_at(scenario, one)
    assert changed.grip.press == pytest.approx(90.0)
    assert changed == replace(at_middle, grip=replace(at_middle.grip, press=changed.grip.press))


def test_quantiles_of_a_drawn_quantity_are_the_stated_ones():
    """low and high are the 5 and 95 % points of each law."""
    scenario = spread()
    drawn = [conditions_at(scenario, z) for z in draw_scores(512, 0)]
    rate = np.quantile([c.rate for c in drawn], [0.05, 0.5, 0.95])
    assert rate == pytest.approx([0.015e-9, 0.045e-9, 0.135e-9], rel=0.03)
    bias = np.quantile([c.grip.bias_along for c in drawn], [0.05, 0.5, 0.95])
    assert bias == pytest.approx([-0.01, 0.0, 0.01], abs=0.0003)


def test_every_quantity_of_a_real_job_is_drawn():
    scenario = load("two-cylinder-head")
    low, high = (conditions_at(scenario, np.full(len(SCORES), z)) for z in (-1.0, 1.0))
    for name in ("rate", "bedding", "friction", "ageing", "sway"):
        assert getattr(low, name) < getattr(high, name), name
    for name in (*PAPER_NAMES, "critical", "exponent_fine", "exponent_coarse", "edge_grains", "stock"):
        assert getattr(low.traits, name) < getattr(high.traits, name), name
    pace = strokes_per_minute(scenario, np.stack([np.full(len(SCORES), z) for z in (-1.0, 0.0, 1.0)]))
    assert pace[0] < pace[1] < pace[2]
    assert pace[1] == pytest.approx(scenario.hands.strokes_per_minute.value)


def test_shares_stay_shares_whatever_is_drawn():
    """No exponent below nought, no paper that keeps more of its bedding length than all of it."""
    scenario = load("two-cylinder-head")
    for z in (-2.0, 2.0):
        drawn = conditions_at(scenario, np.full(len(SCORES), z)).traits
        assert drawn.exponent_coarse >= 0.0
        assert 0.0 < drawn.blunt_bedding <= 1.0


def test_a_grade_has_the_same_luck_in_whatever_list_it_stands():
    """Luck of a grade is ×/÷ 1.25 on its rate and 1.4 on its ageing at 5 and 95 %; others do not feel it."""
    scenario = load("two-cylinder-head")
    grades = scenario.paper.grits
    one = np.zeros(len(SCORES))
    one[SCORES.index(f"rate {grades[1].name}")] = norm.ppf(0.95)
    one[SCORES.index(f"ageing {grades[1].name}")] = norm.ppf(0.05)
    for listed in (grades, grades[::-1], grades[1:2]):
        drawn = conditions_at(replace(scenario, paper=replace(scenario.paper, grits=listed)), one).traits
        assert drawn.own_rate[grades[1].name] == pytest.approx(1.25)
        assert drawn.own_ageing[grades[1].name] == pytest.approx(1 / 1.4)
        assert all(drawn.own_rate[grit.name] == 1.0 for grit in listed if grit != grades[1])


def test_paper_whose_rate_and_ageing_are_exact_has_no_luck():
    """One of them alone leaves it: who has measured one paper has not measured the others."""
    scenario = load("two-cylinder-head")
    wear = scenario.wear
    rate, ageing = Uncertain.fixed(wear.rate.value), Uncertain.fixed(1.0)
    edge = Uncertain.fixed(wear.edge_rate.value)

    def drawn(**exact: Any) -> PaperTraits:
        return conditions_at(replace(scenario, wear=replace(wear, **exact)), np.ones(len(SCORES))).traits

    for one in (drawn(rate=rate), drawn(ageing=ageing)):
        assert all(x > 1.0 for x in (*one.own_rate.values(), *one.own_ageing.values()))
        assert one.critical > MIDDLE.critical and one.stock > MIDDLE.stock
    both = drawn(rate=rate, ageing=ageing)
    assert {*both.own_rate.values(), *both.own_ageing.values()} == {1.0}
    assert (both.critical, both.exponent_fine, both.exponent_coarse, both.stock) == (
        MIDDLE.critical, MIDDLE.exponent_fine, MIDDLE.exponent_coarse, MIDDLE.stock,
    )  # fmt: skip
    assert both.edge_grains > MIDDLE.edge_grains
    assert drawn(rate=rate, ageing=ageing, edge_rate=edge).edge_grains == MIDDLE.edge_grains


def test_results_come_in_order_and_are_counted():
    told: list[int] = []
    assert run_members(lambda n: n * n, range(20), finished=told.append) == [n * n for n in range(20)]
    assert told == list(range(1, 21))


def test_an_error_in_a_member_comes_out():
    def work(n: int) -> int:
        if n == 3:
            raise ValueError("member 3")
        return n

    with pytest.raises(ValueError, match="member 3"):
        run_members(work, range(8))


def test_threads_change_no_bit():
    """Same seed, same bits: one thread, four threads, threads of its own, one after another."""
    scenario = spread()
    rig = set_up(scenario, cell=0.01)
    before = hollow(80 * UM, 0.12)(rig.grid.u, rig.grid.v)
    stage = Stage(P80, 200, 0, 50, 0)
    layout = stage_layout(rig, stage, quad_strokes=4.0, seed=0)
    members = [conditions_at(scenario, z) for z in draw_scores(8, 0)]

    def work(conditions: Conditions) -> Array:
        return run_stage(rig, before, conditions, stage, layout).heights

    one_by_one = np.array([work(c) for c in members])
    assert np.ptp(one_by_one, axis=0).max() > 1 * UM
    for threads in (1, 4):
        with ThreadPoolExecutor(threads) as pool:
            assert np.array_equal(run_members(work, members, executor=pool), one_by_one)
            # The executor is the caller's and stays open.
            assert pool.submit(int, 3).result() == 3
    assert np.array_equal(run_members(work, members), one_by_one)
