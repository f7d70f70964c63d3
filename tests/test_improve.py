"""The search for a better way: it keeps to its budget, finds what is there, and does not flatter itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_compare import uneven_job

from handlap.sim.comparing.improve import Improvement, discrete_choices, improve, paper_choices
from handlap.sim.job.scenario_file import load
from handlap.sim.materials import grits

PAPERS = tuple(grits.find(name) for name in ("P80", "P120", "P240"))


def test_papers_are_chosen_from_those_on_hand_and_end_on_the_finest():
    names = {"-".join(g.name for g in choice) for choice in paper_choices(PAPERS)}
    assert names == {"P240", "P80-P240", "P120-P240", "P80-P120-P240"}


def test_discrete_choices_differ_and_keep_to_their_number():
    ways = discrete_choices(load("two-cylinder-head"), 12, 0)
    assert len(ways) == len(set(ways)) == 12
    assert len(discrete_choices(load("two-cylinder-head"), 1000, 0)) == 40


@pytest.fixture(scope="module")
def found() -> Improvement:
    """Hands far too high: there is a better way, and it is not far."""
    scenario = uneven_job()
    high = replace(scenario.hands.height, value=0.036, low=0.026, high=0.05)
    scenario = replace(scenario, hands=replace(scenario.hands, height=high))
    part = replace(scenario.part, limit=12e-6)
    return improve(replace(scenario, part=part), budget=32, members=24, seed=2)


def test_the_search_keeps_to_its_budget(found):
    assert found.runs <= found.budget == 32


def test_a_better_way_is_found_where_there_is_one(found):
    assert found.helps
    assert found.honest.chance >= found.before.chance
    assert found.honest.minutes.p50 < found.before.minutes.p50 or found.gain.size == "clear"


def test_the_figure_reported_is_of_fresh_numbers(found):
    """Selected and honest come from different members, so their bands are never the same."""
    assert found.honest != found.selected
    assert found.members == 24 and found.search_members == 24


def test_what_was_found_is_within_the_papers_on_hand(found):
    assert set(found.papers) <= {g.name for g in found.scenario_before.paper.grits}


def test_too_few_minutes_count_against_the_chance():
    hurried = improve(uneven_job(), budget=20, members=16, minutes=4.0)
    assert hurried.before.chance < hurried.before.chance_goal
    assert hurried.honest.chance <= hurried.honest.chance_goal
