"""Every answer of the verdict, at the lines that are written down with it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handlap.sim.job.results import Verdict
from handlap.sim.planning import verdict
from handlap.sim.planning.verdict import Chances, doubt_numerics, judge

UM = 1e-6
WARPED = Chances(
    flat_straightedge=0.0, flat_zone=0.0, goal=0.95, allowance=0.95, both=0.95, at_best=0.0, unfinished=0.0
)


def asked(chances: Chances, limit_by="straightedge", allowance=200 * UM):
    return judge(chances, limit=50 * UM, limit_by=limit_by, allowance=allowance)


def test_a_flat_face_is_left_alone():
    found = asked(replace(WARPED, flat_straightedge=0.95, flat_zone=0.9))
    assert found.answer == "leave"
    assert "50 µm by straightedge" in found.reasons[0]
    assert found.to_find_out == ()


def test_a_warped_face_that_can_be_lapped_is():
    found = asked(WARPED)
    assert found.answer == "lap"
    assert "outside 50 µm" in found.reasons[0]
    assert any("allowance of 200 µm" in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        (dict(goal=0.1, both=0.1, at_best=0.9), "stops improving"),
        (dict(goal=0.1, both=0.1, unfinished=0.9), "still not flat"),
        (dict(allowance=0.2, both=0.1), "more metal has to come off"),
    ],
)
def test_a_face_beyond_hands_goes_to_the_shop_and_the_reason_is_told(changes, word):
    found = asked(replace(WARPED, **changes))
    assert found.answer == "machine shop"
    assert any(word in reason for reason in found.reasons)


def test_between_the_lines_it_cannot_tell_and_says_what_would():
    found = asked(replace(WARPED, goal=0.5, both=0.5))
    assert found.answer == "cannot tell"
    assert found.to_find_out


def test_readings_that_leave_it_open_whether_it_is_flat_already():
    found = asked(replace(WARPED, flat_straightedge=0.5, flat_zone=0.5))
    assert found.answer == "cannot tell"
    assert "leave open" in found.reasons[0]
    assert "read again" in found.to_find_out[0]


@pytest.mark.parametrize(("limit_by", "edge", "zone"), [("straightedge", 0.95, 0.1), ("zone", 0.1, 0.95)])
def test_where_the_two_senses_of_a_limit_disagree_it_cannot_tell(limit_by, edge, zone):
    """A twist of 100 µm zone reads 50 on a diagonal: flat by straightedge, not by zone."""
    found = asked(replace(WARPED, flat_straightedge=edge, flat_zone=zone), limit_by)
    assert found.answer == "cannot tell"
    assert any("limit_by" in step for step in found.to_find_out)


def test_the_sense_of_the_limit_decides_which_chance_counts():
    chances = replace(WARPED, flat_straightedge=0.95, flat_zone=0.5)
    assert asked(chances, "straightedge").answer == "leave"
    assert asked(chances, "zone").answer == "cannot tell"


def test_without_an_allowance_only_the_goal_counts():
    found = asked(replace(WARPED, allowance=None), allowance=None)
    assert found.answer == "lap"
    assert any("no removal allowance is stated" in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("changes", "answer"),
    [
        (dict(flat_straightedge=verdict.LEAVE_AT, flat_zone=verdict.LEAVE_AT), "leave"),
        (dict(flat_straightedge=verdict.LEAVE_AT - 0.01, flat_zone=0.9), "cannot tell"),
        (dict(flat_straightedge=verdict.NEEDS_WORK_AT, flat_zone=0.0), "lap"),
        (dict(flat_straightedge=verdict.NEEDS_WORK_AT + 0.01), "cannot tell"),
        (dict(both=verdict.LAP_AT), "lap"),
        (dict(both=verdict.LAP_AT - 0.01), "cannot tell"),
        (dict(both=verdict.SHOP_AT + 0.01), "cannot tell"),
        (dict(both=verdict.SHOP_AT), "machine shop"),
    ],
)
def test_the_lines_themselves(changes, answer):
    assert asked(replace(WARPED, **changes)).answer == answer


share = st.floats(0.0, 1.0)


@settings(max_examples=200, deadline=None)
@given(share, share, share, share, share, st.sampled_from(["straightedge", "zone"]))
def test_every_answer_states_its_reasons_and_its_lines(edge, zone, goal, inside, both, limit_by):
    found = asked(Chances(edge, zone, goal, inside, min(both, goal, inside), 0.1, 0.1), limit_by)
    assert found.answer in ("leave", "lap", "cannot tell", "machine shop")
    assert found.reasons and all(found.reasons)
    assert (found.answer == "cannot tell") == bool(found.to_find_out)
    assert found.thresholds["lap_at"] > found.thresholds["shop_at"]
    assert found.thresholds["leave_at"] > found.thresholds["needs_work_at"]


@pytest.mark.parametrize(("chance", "words"), [(1.0, "over 95 %"), (0.0, "under 5 %")])
def test_an_ensemble_is_never_certain(chance, words):
    found = asked(replace(WARPED, goal=chance, both=chance))
    assert any(words in reason for reason in found.reasons)
    assert not any("100 %" in reason or " 0 %" in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("error", "result", "answer"),
    [(4e-6, 52e-6, "machine shop"), (40e-6, 210e-6, "machine shop"), (40e-6, 60e-6, "cannot tell")],
    ids=["small", "far from turning it", "could turn it"],
)
def test_verdict_is_taken_back_where_numerics_could_turn_it(error, result, answer):
    firm = Verdict("machine shop", ("because",), {}, ())
    doubted = doubt_numerics(firm, error=error, result=result, limit=50e-6)
    assert doubted.answer == answer
    assert "because" in doubted.reasons


@pytest.mark.parametrize(
    ("result", "says"),
    [
        (5.02e-6, "only good to 0.7 µm here, while the result lies right at the limit"),
        (5.31e-6, "only good to 0.7 µm here, while the result is 0.3 µm from the limit"),
    ],
)
def test_a_doubt_smaller_than_a_micrometre_is_not_said_as_none(result, says):
    """Before: "only good to 1 µm here, while the result is 0 µm from the limit"."""
    doubted = doubt_numerics(Verdict("lap", ("because",), {}, ()), error=0.7e-6, result=result, limit=5e-6)
    assert doubted.answer == "cannot tell" and doubted.reasons[0].endswith(says)


def test_a_face_left_alone_does_not_rest_on_the_lap():
    leave = Verdict("leave", ("flat",), {}, ())
    assert doubt_numerics(leave, error=1e-3, result=0.0, limit=50e-6) == leave
