"""Commands that are asked the same question give the same digits."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import pytest
from click.testing import CliRunner
from jobs import UM, hollow, job

from handlap.cli.main import main
from handlap.cli.reports.compare_report import compare_json, compare_report
from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.quantity import quantity
from handlap.cli.reports.text import render
from handlap.cli.reports.thresholds_report import thresholds
from handlap.cli.reports.wording import MINUTES_WORDS
from handlap.cli.screen import Screen
from handlap.sim.bench.bench_trial import plan_trial
from handlap.sim.comparing.compare import Comparison, compare
from handlap.sim.comparing.why import find_causes
from handlap.sim.job.results import Plan
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import Way, parse_way
from handlap.sim.planning.effort import MINUTES_OF
from handlap.sim.planning.plan import make_plan
from handlap.sim.planning.verdict import THRESHOLDS

NAMES = ("two-cylinder-head", pytest.param("valve-chest-cover", marks=pytest.mark.slow))
MEMBERS = 8


@cache
def planned(name: str) -> Plan:
    return make_plan(load(name), members=MEMBERS, seed=1)


@cache
def compared(name: str) -> Comparison:
    ways = [Way("as it stands"), parse_way("turning=half")]
    return compare(load(name), ways, members=MEMBERS, seed=1, with_turns=False)


@pytest.mark.parametrize("name", NAMES)
def test_as_it_stands_is_the_plan_to_the_last_digit(name):
    plan, (stands, _) = planned(name), compared(name).results
    assert stands.papers == tuple(stage.paper for stage in plan.stages)
    for bands, of_plan in (
        ("strokes", plan.effort.strokes),
        ("minutes", plan.effort.minutes),
        ("flatness", plan.after.flatness),
        ("straightedge", plan.after.straightedge),
        ("mean_depth", plan.removed.mean),
        ("greatest_depth", plan.removed.greatest),
        ("taper_along", plan.removed.taper_along),
        ("taper_across", plan.removed.taper_across),
        ("work", plan.effort.work),
    ):
        assert stands.bands[bands] == of_plan, bands
    assert (stands.chance_goal, stands.chance_both) == (plan.chance.goal, plan.chance.both)
    assert stands.chance_allowance == plan.chance.allowance
    # The worst spot's is the greatest of all ways, the others are those of the work as it stands.
    assert replace(compared(name).errors, step=plan.errors.step) == plan.errors
    assert plan.errors.strokes is not None and 0.0 <= plan.errors.strokes < 0.1 * plan.effort.strokes.p50


@pytest.mark.parametrize("name", (*NAMES, pytest.param("plane-sole", marks=pytest.mark.slow)))
def test_minutes_are_itemised_alike_in_plan_and_comparison(name):
    """The same items, to the last digit, in JSON and in words; and no item is left out of the sum."""
    plan, found = planned(name), compared(name)
    stands = found.results[0]
    told, way = plan_json(plan)["effort"], compare_json(found)["ways"][0]
    for item in ("minutes", *MINUTES_OF):
        assert way[item] == told[item], item
    effort = {item: stands.bands[item] for item in MINUTES_OF}
    assert effort == plan.effort.minutes_of and set(MINUTES_OF) == set(MINUTES_WORDS)
    # Every member has one sheet of the first paper at the least, and the strokes are not all of the work.
    assert effort["sheet_minutes"].p05 >= 3.0 and effort["stroke_minutes"].p50 < plan.effort.minutes.p50
    text, table = (
        " ".join(render(report, Screen(400)).split()) for report in (plan_report(plan), compare_report(found))
    )
    for item in MINUTES_OF:
        assert quantity(effort[item], "min") in text, item
        assert quantity(effort[item]) in table, item


def test_minutes_of_a_lap_are_said_to_be_of_its_strokes():
    result = CliRunner().invoke(main, ["simulate", "formula-check", "--strokes", "80", "--json"])
    effort = json.loads(result.output)["effort"]
    assert effort["minutes"] == effort["stroke_minutes"]
    assert (
        "min of strokes" in CliRunner().invoke(main, ["simulate", "formula-check", "--strokes", "80"]).output
    )


def test_the_trial_and_the_causes_are_on_the_paper_of_the_plan():
    scenario, plan = load("two-cylinder-head"), planned("two-cylinder-head")
    trial = plan_trial(scenario, seed=0)
    assert trial.paper == plan.stages[0].paper
    assert trial.sheet_every == plan.stages[0].sheet_every
    causes = find_causes(scenario, members=4, seed=1)
    assert causes.papers == tuple(stage.paper for stage in plan.stages)


def test_how_many_looks_a_job_states_changes_no_answer_much():
    """A check every stroke is no reason to compute for minutes: what is stated is looked at by the bench."""
    scenario = job(face=hollow(60 * UM, 0.12), limit=20 * UM, ages=True, rate=0.1e-9)
    often, seldom = (make_plan(replace(scenario, check_every=every), members=8, seed=0) for every in (1, 60))
    assert often.effort.strokes.p50 == pytest.approx(seldom.effort.strokes.p50, rel=0.1)
    assert len(often.stages[0].checks) <= 40


def test_the_lines_that_verdicts_draw_are_in_one_table():
    found = {name: value for _, rows in thresholds() for name, value, _, _ in rows}
    assert found["leave"] == THRESHOLDS["leave_at"] and found["lap"] == THRESHOLDS["lap_at"]
    done = CliRunner().invoke(main, ["validity", "--thresholds", "--json"])
    assert done.exit_code == 0
    told = json.loads(done.output)
    assert [q["question"] for q in told["questions"]] == [title for title, _ in thresholds()]
    text = CliRunner().invoke(main, ["validity", "--thresholds"]).output
    assert "machine shop" in text and "75 %" in text
