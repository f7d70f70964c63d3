"""Why a face comes out as it does: constructed cases, and backwards from what is seen."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from jobs import QUARTER_TURNS, UM, crown, hollow, job

from handlap.sim.common.outline import Outline
from handlap.sim.comparing import causes
from handlap.sim.comparing.cause_ranking import NONE, rank_by_dye, rank_by_readings
from handlap.sim.comparing.causes import (
    OFF,
    SAME_DEPTH,
    START,
    active_causes,
    lap_variants,
    only,
    stages_for,
    without,
)
from handlap.sim.comparing.why import Why, find_causes
from handlap.sim.job.scenario import Insert, Plate, Scenario, Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.dye_words import read_dye
from handlap.sim.planning.crew import open_crew
from handlap.sim.planning.first_paper import choose_to_work

FLAT = hollow(0.0, 0.12)


def only_one(cause: str) -> Scenario:
    """A job in which a single cause is at work on a flat face."""
    cases: dict[str, dict[str, Any]] = {
        "high hands": {"reach": 0.03},
        "wobble": {"wobble": (0.03, 0.02)},
        "bias": {"bias": (0.02, 0.0)},
        "paper ageing": {"ages": True, "plate": (0.45, 0.3)},
        START: {"face": hollow(40 * UM, 0.12)},
    }
    usual: dict[str, Any] = {"face": FLAT, "limit": 0.2 * UM, "check_every": 200}
    scenario = job(**(usual | cases.get(cause, {})))
    if cause == "plate":
        plate = Plate(0.45, 0.3, shape="hump", shape_height=8 * UM)
        return replace(scenario, plate=plate)
    if cause == "overhang and seams":
        return replace(scenario, plate=Plate(0.3, 0.3))
    if cause == "inserts":
        ring = Outline.rectangular(0.03, 0.14).rim
        return replace(scenario, part=replace(scenario.part, inserts=(Insert("bush", ring, 0.2),)))
    return scenario


@cache
def why_only(cause: str) -> Why:
    return find_causes(only_one(cause), members=4, strokes=600)


CASES = ("high hands", "wobble", "bias", "paper ageing", "plate", "overhang and seams", "inserts")


@pytest.mark.parametrize("cause", CASES)
def test_where_one_cause_is_at_work_it_makes_all_of_the_error(cause):
    scenario = only_one(cause)
    assert set(active_causes(scenario)) == {START, cause}
    found = why_only(cause)
    by_name = {c.name: c for c in found.causes}
    total = max(abs(b.p50) for b in found.total.values())
    assert total > 0.2 * UM
    for name, whole in found.total.items():
        assert by_name[cause].alone[name].p50 == pytest.approx(whole.p50, abs=0.02 * UM)
        assert by_name[cause].on_top[name].p50 == pytest.approx(whole.p50, abs=0.02 * UM)
        assert abs(by_name[START].alone[name].p50) < 0.02 * UM
        assert abs(found.leftover[name].p50) < 0.05 * UM


def test_signs_of_the_constructed_cases():
    """Common practice: high hands and paper worn in its middle crown, a humped plate hollows."""
    along = {
        name: why_only(name).total["crown_along"].p50 for name in ("high hands", "paper ageing", "plate")
    }
    assert along["high hands"] > 0.0 and along["paper ageing"] > 0.0 and along["plate"] < 0.0


@pytest.mark.parametrize(
    ("asked", "most"), [("wobble alone", 1.0), ("no leading edge", 3.0), ("fresh paper", 3.0)]
)
def test_the_same_depth_is_met_in_few_laps(asked, most, monkeypatch):
    """Fresh paper takes off k·F·s/A, so its rate is known before any lap (Archard, Journal of Applied Physics
    24, 1953, 981); on paper that ages, a power of the rate is looked for."""
    scenario = load("two-cylinder-head")
    crew = open_crew(scenario, members=6, seed=0)
    stages = stages_for(crew, 1, 400)
    (base,) = lap_variants(crew, [(scenario, False, stages)], None)
    depths = np.array([lap.mean_depth for lap in base])
    laps, run = [], causes._run

    def counted(*given):
        laps.append(given)
        return run(*given)

    monkeypatch.setattr(causes, "_run", counted)
    other = {
        "wobble alone": only(scenario, "wobble"),
        "no leading edge": (without(scenario, ["leading edge"]), False),
        "fresh paper": (without(scenario, ["paper ageing"]), False),
    }
    (found,) = lap_variants(crew, [(*other[asked], stages)], depths)
    assert [lap.mean_depth for lap in found] == pytest.approx(depths, rel=SAME_DEPTH)
    assert len(laps) <= most * len(depths)


def test_the_error_told_is_that_of_the_rows_that_were_lapped():
    """Not that of the trial of the paper, whose rows are longer."""
    scenario = load("two-cylinder-head")
    crew, paper = choose_to_work(open_crew(scenario, members=8, seed=0))
    _, layout = stages_for(crew, paper.taken.first, paper.taken.worked.middle_stop)[0]
    errors = find_causes(scenario, members=8, seed=0).errors
    assert errors.rows == layout.x.size
    assert errors.asked is not None and errors.straightedge <= errors.asked


def test_with_every_cause_off_nothing_is_left():
    scenario, flat = only(load("two-cylinder-head"), None)
    assert flat and active_causes(scenario) == (START,)
    assert only(scenario, START)[1] is False
    assert set(OFF) > set(active_causes(load("two-cylinder-head")))


def test_overhang_is_a_cause_only_where_the_part_leaves_the_plate_as_it_is_turned():
    assert "overhang and seams" not in active_causes(load("two-cylinder-head"))
    quarter = job(face=FLAT, plate=(0.5, 0.2), states=QUARTER_TURNS, turn_every=20)
    assert "overhang and seams" in active_causes(quarter)
    # 240 mm and a travel of 180: it fits to a hair, and by floating point not quite.
    assert "overhang and seams" not in active_causes(job(face=FLAT, plate=(0.1 + 0.2 + 0.12, 0.14)))


@pytest.fixture(scope="module")
def mixed() -> Why:
    scenario = job(
        face=hollow(50 * UM, 0.12), limit=10 * UM, reach=0.03, wobble=(0.02, 0.01), bias=(0.01, 0.0),
        ages=True, plate=(0.45, 0.3), rate=0.2e-9, check_every=100,
    )  # fmt: skip
    hands = replace(scenario.hands, height=Uncertain(0.03, 0.02, 0.045, "lognormal", "hands.height"))
    return find_causes(replace(scenario, hands=hands), members=4, strokes=300)


def test_the_parts_and_what_is_left_over_make_the_whole(mixed):
    """Means add; the middles of the members do so too where their spread is small."""
    for name, whole in mixed.total.items():
        parts = sum(c.alone[name].p50 for c in mixed.causes) + mixed.leftover[name].p50
        assert parts == pytest.approx(whole.p50, abs=0.5 * UM)


def test_three_changes_and_more_are_tried_and_the_best_come_first(mixed):
    gains = [change.gain.mean for change in mixed.changes]
    assert len(gains) >= 3 and gains == sorted(gains)
    assert all(change.gain.band.p05 <= change.gain.band.p95 for change in mixed.changes)


def test_dye_left_by_a_cause_names_that_cause():
    """High hands alone take the ends first; a press to the right takes the right end first."""
    scenario = job(
        face=FLAT, reach=0.04, bias=(0.025, 0.0), rate=0.1e-9, bedding=60 * UM, limit=5 * UM, check_every=50
    )
    ends = rank_by_dye(scenario, read_dye("gone at both ends"), "ends", members=4)
    assert ends.causes[0].cause == "high hands"
    right = rank_by_dye(scenario, read_dye("gone at the right end"), "right", members=4)
    assert right.causes[0].cause == "bias"
    faded = rank_by_dye(scenario, read_dye("fading at both ends, full in the middle"), "ends", members=4)
    assert faded.causes[0].cause == "high hands"


def test_a_picture_that_tells_nothing_apart_is_answered_cannot_tell():
    scenario = job(face=FLAT, reach=0.02, wobble=(0.01, 0.01), limit=5 * UM, check_every=50, rate=0.1e-9)
    found = rank_by_dye(scenario, read_dye("gone everywhere"), "gone", members=4)
    assert found.answer == "cannot tell"
    assert sum(c.chance for c in found.causes) == pytest.approx(1.0)


def test_readings_after_the_work_name_the_cause_that_leaves_them():
    scenario = job(
        face=hollow(50 * UM, 0.12), reach=0.045, bedding=60 * UM, limit=10 * UM, rate=0.3e-9, check_every=100
    )
    left = find_causes(scenario, members=4, strokes=2000)
    risen = left.total["crown_along"].p50
    assert risen > 8 * UM
    after = replace(scenario, readings=job(face=crown(risen, 0.12)).readings)
    found = rank_by_readings(scenario, after, strokes=2000, members=8)
    assert found.answer == "high hands"
    nothing_like_it = replace(scenario, readings=job(face=lambda u, v: 3e-2 * u * v).readings)
    assert rank_by_readings(scenario, nothing_like_it, strokes=2000, members=8).causes[0].cause == NONE
