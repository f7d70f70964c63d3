"""What makes an answer wide: shares against closed forms, chance that explains nothing, and the words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cli_examples import synthetic_plan

from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.sim.job.results import Unknown
from handlap.sim.planning.verdict import UNSURE, decided_by
from handlap.sim.planning.what_decides import LITTLE, OWN, deciders


def test_shares_are_those_of_a_sum():
    """Closed form: of a sum of independent parts, each explains its own variance over all of it.

    Margins count by rank; for a normal sum and its ranks a linear fit explains 3/π of that.
    """
    rng = np.random.default_rng(1)
    rate, hands = rng.standard_normal((2, 1024, 1))
    found = deciders((2.0 * rate + hands)[:, 0], {"hands": [hands], "rate": [rate]})
    assert [d.subject for d in found] == ["rate", "hands"]
    assert [d.share for d in found] == pytest.approx([0.8 * 3.0 / np.pi, 0.2 * 3.0 / np.pi], abs=0.05)
    assert [d.subject for d in decided_by(found)] == ["rate"]


def test_chance_in_few_members_explains_nothing():
    rng = np.random.default_rng(2)
    named = 0
    for _ in range(50):
        margin, own = rng.standard_normal(32), rng.standard_normal((32, 5))
        named += len(deciders(margin, {"hands": [own]}))
    assert named <= 5
    assert deciders(np.zeros(32), {"hands": [own]}) == ()
    assert deciders(margin[:8], {"hands": [own[:8]]}) == ()


def test_every_subject_of_a_verdict_has_something_of_its_own():
    assert set(UNSURE) - {"face"} <= set(OWN) and LITTLE < 0.5


def test_a_plan_tells_stations_from_paper_and_hands():
    plan = replace(synthetic_plan(), widens=(Unknown("face", 0.6, "depth"), Unknown("paper", 0.3, "minutes")))
    text = " ".join(render(plan_report(plan), Screen(80)).split())
    assert "Narrower" in text and "station" in text and "(60 % of the spread in depth)" in text
    assert "weigh what came off (30 % of the spread in minutes)" in text
    assert plan_json(plan)["narrows"][0] == {"what": "face", "share": 0.6, "of": "depth"}
    assert "Narrower" not in render(plan_report(replace(plan, widens=())), Screen(80))
