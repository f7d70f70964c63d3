"""How steady a middle value is said to be: against draws of other seeds."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from math import comb

import numpy as np
import pytest
from cli_examples import HEAD, synthetic_plan
from jobs import HALF_TURNS, P80, UM, hollow, job

from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.text import render
from handlap.cli.reports.wording import another_words
from handlap.cli.screen import Screen
from handlap.sim.common.outline import Array
from handlap.sim.common.steadiness import middle_again, told_by
from handlap.sim.job.results import AnotherDraw
from handlap.sim.job.scenario import Uncertain
from handlap.sim.lapping.ensemble import EVEN_SCORES, SCORES, draw_scores
from handlap.sim.planning.plan import make_plan

SEEDS = 60
MEMBERS = 64
LUCK = SCORES.index("rate P120")


def chance_between(count: int, low: int, high: int, *, both: bool) -> float:
    """Chance that the two middle values of ``count`` draws, both or at least one, lie between the values of
    these ranks of as many others, by counting the orders of all (Fligner and Wolfe 1976, from memory)."""
    half, ways = count // 2, comb(2 * count, count)

    def below(rank: int, least: int) -> float:
        """… that at least so many of the draws lie below the value of this rank."""
        orders = (
            comb(rank - 1 + j, j) * comb(count - rank + count - j, count - j) for j in range(least, count + 1)
        )
        return sum(orders) / ways

    if both:
        return below(high, half + 1) - below(low, half)
    return below(high, half) - below(low, half + 1)


@pytest.mark.parametrize("count", [16, 64, 256])
def test_of_independent_draws_it_is_the_interval_that_holds_whatever_the_spread(count):
    """Exact counting.  A median lies between two values, and our ends between two ranks: so nine in ten lies
    between the chance of both inside the narrower ranks and that of one inside the wider, and so does what is
    counted over draws."""
    found = middle_again(np.arange(1.0, count + 1.0), np.zeros((count, 1)))
    assert found is not None
    low, high = found
    assert low + high == pytest.approx(count + 1)
    least = chance_between(count, int(np.ceil(low)), int(np.floor(high)), both=True)
    most = chance_between(count, int(np.floor(low)), int(np.ceil(high)), both=False)
    assert least <= 0.9 <= most
    rng = np.random.default_rng(0)
    here, there = (np.sort(rng.exponential(size=(20_000, count)), axis=1) for _ in range(2))
    ranks = np.arange(1.0, count + 1.0)
    ends = np.array([np.interp([low, high], ranks, row) for row in here])
    middle = np.median(there, axis=1)
    held = np.mean((ends[:, 0] <= middle) & (middle <= ends[:, 1]))
    assert least <= held <= most
    # Few members have their ends between few values: rather too wide than too narrow.
    assert 0.89 <= held <= 0.93


FIGURES: dict[str, Callable[[Array, Array], Array]] = {
    "by rate and ageing": lambda z, luck: np.exp(-0.7 * z[:, 0] + 0.3 * z[:, 3] + 0.2 * luck),
    "by what bends": lambda z, luck: (
        np.exp(-0.6 * z[:, 0]) + z[:, 4] ** 2 + 0.5 * np.abs(z[:, 6]) + 0.2 * luck
    ),
    "by luck alone": lambda z, luck: luck,
    "worked for so long at most": lambda z, luck: np.minimum(np.exp(0.8 * z[:, 0] + 0.4 * luck), 1.5),
}


@pytest.mark.parametrize("name", FIGURES)
def test_another_seed_falls_where_it_is_said_to(name):
    """Scores as plans draw them: nine pairs of seeds in ten, and not far more by far too wide an interval."""
    middles, spans = [], []
    for seed in range(SEEDS):
        scores = draw_scores(MEMBERS, seed)
        values = FIGURES[name](scores, scores[:, LUCK])
        found = middle_again(values, scores[:, :EVEN_SCORES])
        assert found is not None
        middles.append(np.median(values))
        spans.append(found)
    middle, (low, high) = np.array(middles), np.array(spans).T
    inside = (low[:, None] <= middle) & (middle <= high[:, None])
    held = (inside.sum() - SEEDS) / (SEEDS * (SEEDS - 1))
    assert held >= 0.86
    # An interval for the difference of two draws is 2·1.645·√2 = 4.65 of their standard deviations wide.
    # Even scores also hold still what goes with their squares, which a linear fit does not see.
    assert np.mean(high - low) <= (2.5 if name == "by what bends" else 2.0) * 4.65 * middle.std(ddof=1)


def test_what_even_scores_tell_makes_it_narrower():
    scores = draw_scores(MEMBERS, 1)
    values = np.exp(-0.7 * scores[:, 0])
    told, blind = (middle_again(values, z) for z in (scores[:, :EVEN_SCORES], np.zeros((MEMBERS, 1))))
    assert told is not None and blind is not None
    assert told[1] - told[0] < 0.85 * (blind[1] - blind[0])
    assert told_by(scores[:, :EVEN_SCORES], scores[:, LUCK]) < 0.3
    assert told_by(scores[:, :EVEN_SCORES], scores[:, 0]) > 0.95


def test_too_few_members_cannot_tell_and_one_value_is_as_steady_as_can_be():
    assert middle_again(np.arange(4.0), np.zeros((4, 1))) is None
    assert middle_again(np.arange(8.0), np.zeros((8, 1))) is not None
    assert middle_again(np.full(64, 12_000.0), draw_scores(64, 0)) == (12_000.0, 12_000.0)


def test_plans_of_other_seeds_have_their_middle_strokes_there():
    """Whole plans of a small job, sixteen members; of the 132 pairs of twelve seeds some more may miss."""
    known = job(
        length=0.2, width=0.1, reach=0.01, states=HALF_TURNS, turn_every=20, travel=0.1, cell=0.02,
        face=hollow(60 * UM, 0.1), limit=20 * UM, papers=(P80,), plate=(0.6, 0.4), wobble=(0.003, 0.003),
    )  # fmt: skip
    rate = Uncertain(0.045e-9, 0.02e-9, 0.1e-9, "lognormal", "wear.rate")
    scenario = replace(known, wear=replace(known.wear, rate=rate))
    plans = [make_plan(scenario, members=16, seed=seed) for seed in range(12)]
    spans = [plan.another.strokes for plan in plans]
    middles = np.array([plan.effort.strokes.p50 for plan in plans])
    assert all(span is not None for span in spans)
    low, high = np.array(spans).T
    inside = (low[:, None] <= middles) & (middles <= high[:, None])
    assert (inside.sum() - 12) / 132 >= 0.8
    assert np.all(low < middles) and np.all(middles < high)
    assert middles.std() > 0.0


OTHER = AnotherDraw((842.0, 1107.0), (28.1, 36.4), (121 * UM, 143 * UM), None)


def test_it_is_said_in_the_units_of_the_job():
    assert another_words(OTHER, "mm") == (
        "would give middle values of 840–1100 strokes, 28–36 min and 120–144 µm at the deepest spot, nine "
        "times in ten, on the same paper; more --members hold them stiller"
    )
    # 121 and 143 µm are 4.76 and 5.63 thousandths.
    assert "4.8–5.6 thou at the deepest spot" in another_words(OTHER, "inch")
    assert another_words(AnotherDraw(None, None, None, None), "mm").startswith("too few members to tell")
    assert "12000 strokes" in another_words(AnotherDraw((12e3, 12e3), None, None, None), "mm")


@pytest.mark.parametrize("width", [40, 80])
def test_the_report_and_json_have_it(width):
    plan = synthetic_plan(HEAD, another=OTHER)
    text = render(plan_report(plan), Screen(width))
    assert max(len(line) for line in text.splitlines()) <= width
    assert another_words(OTHER, "mm") in " ".join(text.split())
    found = json.loads(dumps(plan_json(plan)))["another_seed"]
    assert found == {
        "strokes": [842, 1107],
        "minutes": [28.1, 36.4],
        "greatest_um": [121, 143],
        "mean_um": None,
    }
    assert plan_json(synthetic_plan(HEAD, "leave"))["another_seed"] is None
