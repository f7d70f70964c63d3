"""Who is given up on the way down, and that nobody is who would get there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handlap.sim.job.scenario_file import load
from handlap.sim.planning.crew import open_crew
from handlap.sim.planning.first_paper import lay_tried, trial_crew, try_paper
from handlap.sim.planning.leg import STOP_AT, ToGoal, TooSlow, inside_limits
from handlap.sim.planning.plan import make_plan
from handlap.sim.planning.plan_bands import UNTIL_PLAIN, chances_of
from handlap.sim.planning.verdict import judge
from handlap.sim.planning.work import giving_up, work

UM = 1e-6
LIMIT, MOST = 50.0 * UM, 12_000
RULE = TooSlow(LIMIT, 1000, MOST)
STROKES = np.arange(200, MOST + 1, 200)


def given_up(measured: np.ndarray, rule: TooSlow = RULE) -> int | None:
    """Strokes by which a face with these figures at the looks [µm] is given up; None: at none."""
    for k in range(1, len(measured) + 1):
        if rule.holds(STROKES[:k], UM * measured[:k]):
            return int(STROKES[k - 1])
    return None


@pytest.mark.parametrize("floor", [0.0, 30.0, 45.0])
@pytest.mark.parametrize("scale", [500.0, 2000.0, 5000.0])
def test_a_face_that_gets_there_is_never_given_up_however_it_falls(floor, scale):
    """Exponentials down to a floor, and straight lines, from 150 µm: the pace only falls."""
    falling = floor + (150.0 - floor) * np.exp(-STROKES / scale)
    straight = 150.0 - 110.0 * np.minimum(STROKES / (2.0 * scale), 1.0)
    for measured in (falling, straight):
        there = UM * measured <= LIMIT
        before = measured[: int(np.argmax(there))] if there.any() else measured
        assert not there.any() or given_up(before) is None


def test_a_slow_starter_is_not_given_up_before_it_may_be():
    """Nothing gives in the first 800 strokes; then it falls as others do."""
    measured = np.where(STROKES <= 800, 150.0, 150.0 * np.exp(-(STROKES - 800) / 2500.0))
    before = measured[UM * measured > LIMIT]
    assert given_up(before) is None
    # Asked sooner, it would be taken for one that never gets there.
    assert given_up(before, replace(RULE, after=0)) == 400


def test_who_stands_still_or_falls_far_too_slowly_is_given_up_as_soon_as_is_asked():
    still = np.full(STROKES.size, 150.0)
    assert given_up(still) == RULE.after
    # What twice the pace from there on takes off just then: 100 = pace × (after + 2 × (most − after)).
    enough = 100.0 / (2 * MOST - RULE.after)
    assert given_up(still - 0.99 * enough * STROKES) == RULE.after
    later = given_up(still - 1.01 * enough * STROKES)
    assert later is not None and later > RULE.after
    assert given_up(still + 0.01 * STROKES) == RULE.after
    assert not RULE.holds(STROKES[:1], UM * still[:1])


def test_a_face_given_up_says_so_only_where_it_was_on_its_way_down():
    rule = ToGoal(STOP_AT * LIMIT, MOST, never=RULE)
    down, up = (np.array(UM * (150.0 + slope * np.arange(5))) for slope in (-0.6, 0.6))
    found = rule.find(STROKES[:5], down, (), False)
    assert found is not None and found.given_up and found.look == 4
    assert not (found.reached or found.at_best)
    # One that gets worse is worked until worse has followed for long, and is past its best then.
    assert rule.find(STROKES[:2], up[:2], (), False) is None
    found = rule.find(STROKES[:5], up, (), False)
    assert found is not None and found.at_best and not found.given_up and found.look == 0
    assert replace(rule, never=None).find(STROKES[:5], down, (), False) is None
    # At the end of all work nobody is given up any more.
    found = rule.find(STROKES[:5], down, (), True)
    assert found is not None and not (found.given_up or found.at_best or found.reached)


def test_a_plan_gives_faces_up_only_where_nobody_gets_there():
    """The part rides on a step in the paper; beside it a head that everybody gets flat."""
    crew = open_crew(load("two-cylinder-head"), members=4, seed=0)
    trial = try_paper(trial_crew(crew), 0)
    assert not trial.nobody and lay_tried(crew, trial).never is None

    crew = open_crew(load("long-part-short-plate"), members=4, seed=0)
    trial = try_paper(trial_crew(crew), 0)
    assert trial.nobody
    steps = lay_tried(crew, trial, keep=True)
    assert steps.never is not None
    done = work(crew, steps)
    first = done.first
    assert first.given_up.any() and not first.reached.any()
    # Everybody is shown to where that is first asked, and nobody given up is counted as worked to the end.
    assert first.strokes[first.complete - 1] >= steps.shown[0] >= steps.never.after
    assert first.stops[first.given_up].max() < steps.never.most
    chances = chances_of(crew, done)
    assert chances.given_up == np.mean(first.given_up) and chances.unfinished == 0.0 == chances.goal
    part = crew.scenario.part
    said = judge(chances, limit=part.limit, limit_by=part.limit_by, allowance=part.allowance).reasons
    assert any("given up before" in reason for reason in said)
    assert not any("still not flat" in reason for reason in said)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        "two-cylinder-head", "inlet-flange", "valve-chest-cover", "plane-sole", "pump-face-heights",
        "thin-pump-cover", "long-part-short-plate", "glass-over-gap",
    ],
)  # fmt: skip
def test_nobody_who_is_given_up_would_have_got_there(name):
    """Every built-in job on its coarsest paper, by the same members with giving up and without."""
    crew = trial_crew(open_crew(load(name), members=16, seed=0))
    whole = try_paper(crew, 0)
    short = work(crew, giving_up(crew, whole.worked.steps))
    up = short.first.given_up
    reached, (inside, _) = (
        whole.worked.first.reached,
        inside_limits(crew.scenario.part, whole.worked.outcome.figures),
    )
    assert not (up & (reached | inside)).any()
    assert np.array_equal(reached, short.first.reached)
    now, _ = inside_limits(crew.scenario.part, short.outcome.figures)
    assert np.array_equal(inside, now)
    assert up.any() or name != "long-part-short-plate"


@pytest.mark.slow
def test_what_a_plan_says_where_nobody_gets_there():
    plan = make_plan(load("long-part-short-plate"), members=16, seed=0)
    assert plan.verdict.answer == "machine shop" and plan.chance.goal == 0.0
    assert [stage.purpose for stage in plan.stages] == [UNTIL_PLAIN]
    assert plan.effort.strokes.p50 < 0.5 * MOST
    assert plan.after.straightedge.p05 > plan.scenario.part.limit
    # The trials' minutes are those of the plan.
    (taken,) = (t for t in plan.trials if t.paper == plan.stages[0].paper)
    # … but for its looks, which are further apart.
    assert taken.minutes.p50 == pytest.approx(plan.effort.minutes.p50, rel=0.5)
