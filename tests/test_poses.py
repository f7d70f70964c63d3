"""Strokes, hands and turns as poses: where, how far, with what, in which order, at which stroke."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import HALF_TURNS, QUARTER_TURNS, STAY, WALK_ROUND

from handlap.sim.job.scenario import TurnState
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.stroke_path import PATTERNS, path_length, places_on_path
from handlap.sim.lapping import column_kernels
from handlap.sim.lapping.poses import (
    ROWS_PER_QUAD,
    SWAY_TAIL,
    Grip,
    Layout,
    Place,
    boundaries,
    lay_out,
    load_poses,
)

STILL = Grip(100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)


def states(pairs) -> tuple[TurnState, ...]:
    return tuple(TurnState(*p) for p in pairs)


def layout(
    pattern="straight", *, length=0.2, direction=0.0, turns=STAY, turn_every=0, strokes=120, quad=4.0, **more
):
    return lay_out(
        pattern=pattern,
        length=length,
        direction=direction,
        states=states(turns),
        turn_every=turn_every,
        strokes=strokes,
        quad_strokes=quad,
        **more,
    )


def poses(rows: Layout, grip: Grip = STILL, **more):
    given: dict[str, Any] = dict(weight=0.0, weight_at=(0.0, 0.0), friction=0.5, half=0.1) | more
    return load_poses(rows, grip, **given)


# ---- where


@pytest.mark.parametrize("begun", [0, 37, 500])
def test_by_the_golden_ratio_any_run_of_groups_meets_the_stroke_evenly(begun):
    """Of places a golden ratio apart no gap is ever twice as wide as the even one (three-distance theorem,
    V. T. Sós 1958, from memory)."""
    for groups in (5, 13, 50, 144):
        place = Place(strokes=4 * begun, groups=begun)
        rows = layout(strokes=4 * groups, sway=0.0, golden=True, begin=place)
        assert rows.x.size == ROWS_PER_QUAD * groups
        own = np.sort(0.5 + rows.x[0::4] / 0.2)
        gaps = np.diff([*own, own[0] + 1.0])
        assert gaps.max() * groups < 2.0
        for first, second in ((0, 1), (2, 3)):
            assert rows.x[first::4] == pytest.approx(rows.x[second::4])


def test_by_the_golden_ratio_work_cut_anywhere_goes_on_at_the_same_places():
    whole = layout(strokes=80, golden=True, seed=5)
    first = layout(strokes=32, golden=True, seed=5)
    rest = layout(strokes=48, golden=True, seed=5, begin=first.end)
    assert np.concatenate([first.x, rest.x]) == pytest.approx(whole.x, abs=1e-15)
    assert not np.allclose(whole.x, layout(strokes=80, golden=True, seed=6).x)


# ---- how far


def test_sliding_of_a_stroke():
    """Closed form: 2·l there and back, π·d round a circle, l for a lifted return; a lemniscate by sums."""
    assert path_length("straight", 0.1) == pytest.approx(0.2)
    assert path_length("diagonal", 0.1) == pytest.approx(0.2)
    assert path_length("one way", 0.1) == pytest.approx(0.1)
    assert path_length("circle", 0.1) == pytest.approx(np.pi * 0.1)
    # An eight x = l/2·sin t, y = l/4·sin 2t, by an independent quadrature.
    from scipy.integrate import quad

    arc = quad(lambda t: np.hypot(0.05 * np.cos(t), 0.05 * np.cos(2 * t)), 0, 2 * np.pi)[0]
    assert path_length("eight", 0.1) == pytest.approx(arc, rel=1e-4)


@pytest.mark.parametrize("pattern", PATTERNS)
@settings(max_examples=15, deadline=None)
@given(
    strokes=st.integers(1, 700),
    quad=st.floats(0.3, 90.0),
    turn=st.integers(0, 60),
    brush=st.one_of(st.none(), st.integers(0, 200)),
    sheet=st.one_of(st.none(), st.integers(0, 400)),
)
def test_rows_slide_the_whole_stage(pattern, strokes, quad, turn, brush, sheet):
    """Σ slide = strokes × path length, whatever falls in between."""
    rows = layout(
        pattern,
        turns=HALF_TURNS,
        turn_every=turn,
        strokes=strokes,
        quad=quad,
        brush_every=brush,
        sheet_every=sheet,
    )
    assert rows.slide.sum() == pytest.approx(strokes * path_length(pattern, 0.2), rel=1e-12)
    assert rows.ends[-1] == pytest.approx(strokes, rel=1e-12)
    assert np.all(rows.slide > 0.0)
    per_quad = rows.slide.reshape(-1, ROWS_PER_QUAD).sum(axis=1) / path_length(pattern, 0.2)
    assert per_quad.max() <= quad * (1 + 1e-6)
    assert rows.snapshot_strokes == (strokes,)
    assert np.count_nonzero(rows.events & column_kernels.EVENT_SNAPSHOT) == 1


# ---- when


def before_row(rows: Layout, event: int) -> list[float]:
    """Strokes done when an event before a row happens."""
    started = np.concatenate([[0.0], rows.ends[:-1]])
    return np.round(started[(rows.events & event) > 0], 9).tolist()


def test_brushings_and_sheets_fall_on_their_strokes():
    rows = layout(strokes=500, quad=7.0, brush_every=60, sheet_every=200, snapshots=(90, 130, 500))
    assert before_row(rows, column_kernels.EVENT_BRUSH) == [60, 120, 180, 240, 300, 360, 420, 480]
    assert before_row(rows, column_kernels.EVENT_SHEET) == [200, 400]
    kept = rows.ends[(rows.events & column_kernels.EVENT_SNAPSHOT) > 0]
    np.testing.assert_allclose(kept, [90, 130, 500])
    assert rows.snapshot_strokes == (90, 130, 500)


def test_no_event_at_the_start_or_the_end():
    """Paper is new at the start of a stage; a brushing due at its last stroke is nobody's business."""
    rows = layout(strokes=120, brush_every=60, sheet_every=120)
    assert before_row(rows, column_kernels.EVENT_BRUSH) == [60]
    assert before_row(rows, column_kernels.EVENT_SHEET) == []
    assert before_row(layout(strokes=100), column_kernels.EVENT_BRUSH | column_kernels.EVENT_SHEET) == []


@pytest.mark.parametrize("every", [10, 25, 40])
def test_turns_fall_on_their_strokes(every):
    rows = layout(turns=QUARTER_TURNS, turn_every=every, strokes=400, quad=6.0)
    ends = rows.ends[3::4]
    started = np.concatenate([[0.0], ends[:-1]])
    # No group of rows reaches over a turn.
    assert np.all(np.floor(started / every + 1e-9) == np.ceil(ends / every - 1e-9) - 1)
    want = np.floor(started / every + 1e-9) % 4 * np.pi / 2
    np.testing.assert_allclose(rows.turn, np.repeat(want, 4))


def test_turns_within_a_group_of_rows_go_round_the_states():
    """Turned more often than a group lasts: every state gets its share of the sliding."""
    rows = layout(turns=QUARTER_TURNS, turn_every=2, strokes=400, quad=10.0)
    for turn in range(4):
        share = rows.slide[np.isclose(rows.turn, turn * np.pi / 2)].sum() / rows.slide.sum()
        assert share == pytest.approx(0.25)


@pytest.mark.parametrize("every", [None, 0])
def test_without_an_interval_the_first_state_stays(every):
    rows = layout(turns=QUARTER_TURNS, turn_every=every)
    assert np.all(rows.turn == 0.0)


def test_boundaries_beyond_the_end_are_left_out():
    assert boundaries(100, (None, 0), (0, 0), (30, 0), at=(100, 400, 50)) == [0, 30, 50, 60, 90, 100]


# ---- where to


@pytest.mark.parametrize("pattern", PATTERNS)
def test_places_stay_on_the_path(pattern):
    """All paths run about the middle of the plate."""
    rows = layout(pattern, length=0.2, strokes=2000)
    if pattern == "circle":
        np.testing.assert_allclose(np.hypot(rows.x, rows.y), 0.1)
    elif pattern == "eight":
        # x = a·sin t, y = a/2·sin 2t, so (2y/a)² = 4·(x/a)²·(1 − (x/a)²).
        x, y = rows.x / 0.1, rows.y / 0.05
        np.testing.assert_allclose(y**2, 4 * x**2 * (1 - x**2), atol=1e-4)
    else:
        assert np.hypot(rows.x, rows.y).max() <= 0.1 + 1e-12
        # A whole stroke is covered evenly.
        assert np.hypot(rows.x, rows.y).mean() == pytest.approx(0.05, rel=0.05)
    if pattern in ("straight", "one way"):
        assert np.all(rows.y == 0.0)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_paths_have_their_middle_in_the_middle_of_the_plate(pattern):
    """Rows of a stage, and the places that the paper's memory spreads a stroke over."""
    rows = layout(pattern, length=0.2, strokes=4000)
    assert abs(rows.x.mean()) < 1e-3 and abs(rows.y.mean()) < 1e-3
    places = places_on_path(pattern, 0.2, 1000)
    np.testing.assert_allclose(places.mean(axis=0), 0.0, atol=1e-4)
    # As far apart as the rows are: the same path.
    if pattern != "diagonal":
        for mine, theirs in zip(places.T, (rows.x, rows.y), strict=True):
            assert mine.std() == pytest.approx(theirs.std(), rel=0.03, abs=1e-12)


@pytest.mark.parametrize("pattern", ["circle", "eight"])
def test_places_of_a_round_are_even_over_its_way(pattern):
    """Neighbours stand one way apart all round (chords of some thousand pieces)."""
    places = places_on_path(pattern, 0.2, 4000)
    apart = np.hypot(*np.diff(places, axis=0).T)
    assert apart.max() / apart.min() < 1.01
    assert apart.sum() == pytest.approx(path_length(pattern, 0.2), rel=1e-3)


@pytest.mark.parametrize("pattern", ["circle", "eight"])
def test_a_group_of_rows_stands_evenly_on_the_round(pattern):
    """Quarters of the round: headings of a group cancel on a circle, row by row in pairs on both."""
    rows = layout(pattern, length=0.2, strokes=400)
    heading = rows.heading.reshape(-1, ROWS_PER_QUAD)
    if pattern == "circle":
        np.testing.assert_allclose(np.cos(heading).sum(axis=1), 0.0, atol=1e-12)
        np.testing.assert_allclose(np.sin(heading).sum(axis=1), 0.0, atol=1e-12)
        turns = np.sort(np.mod(heading, 2 * np.pi), axis=1)
        np.testing.assert_allclose(np.diff(turns, axis=1), np.pi / 2, atol=1e-9)


def test_strokes_sway_normally_and_no_further_than_the_paper_remembers():
    """Normal with the deviation asked for, cut off where the memory of the paper ends."""
    rows = layout(strokes=8000, sway=0.005)
    assert np.abs(rows.y).max() <= SWAY_TAIL * 0.005 + 1e-12
    assert rows.y.std() == pytest.approx(0.005, rel=0.03)
    np.testing.assert_allclose(rows.y[0::4], -rows.y[2::4])
    np.testing.assert_allclose(rows.x, layout(strokes=8000).x)


@pytest.mark.parametrize(
    ("pattern", "turns", "want"),
    [
        ("straight", STAY, [(0.0, 0.3)]),
        # There and back, and from the far side, a stroke looks alike on the plate.
        ("straight", WALK_ROUND, [(0.0, 0.3)]),
        ("one way", HALF_TURNS, [(0.0, 0.3), (np.pi, 0.3)]),
        ("diagonal", STAY, [(0.0, 0.3 + np.pi / 4), (0.0, 0.3 + np.pi - np.pi / 4)]),
        ("circle", QUARTER_TURNS, [(i * np.pi / 2, 0.0) for i in range(4)]),
        ("eight", HALF_TURNS, [(0.0, 0.3), (np.pi, 0.3)]),
    ],
)
def test_standings_are_turn_and_line_of_the_stroke(pattern, turns, want):
    rows = layout(pattern, turns=turns, turn_every=10, direction=0.3, strokes=400, quad=5.0)
    assert len(rows.standings) == len(want)
    np.testing.assert_allclose(sorted(map(tuple, rows.standings)), sorted(want), atol=1e-6)
    # Every row stands as its standing says.
    np.testing.assert_allclose(rows.standings[rows.standing, 0], np.mod(rows.turn, 2 * np.pi), atol=1e-6)
    if pattern not in ("circle", "eight"):
        line = np.mod(rows.heading + rows.turn, np.pi)
        apart = np.abs(line - rows.standings[rows.standing, 1])
        assert np.minimum(apart, np.pi - apart).max() < 1e-6


@pytest.mark.parametrize("pattern", ["circle", "eight"])
def test_heading_is_along_the_path(pattern):
    """The heading at a place is the tangent of the path there, by neighbouring places."""
    rows = layout(pattern, length=0.2, strokes=4000, quad=4.0)
    order = np.argsort(rows.heading)
    x, y = rows.x[order], rows.y[order]
    # Between near headings on the same branch the chord runs along them.
    step = np.hypot(np.diff(x), np.diff(y))
    close = (step < 2e-3) & (step > 1e-6)
    heading = 0.5 * (rows.heading[order][1:] + rows.heading[order][:-1])[close]
    along = (np.diff(x)[close] * np.cos(heading) + np.diff(y)[close] * np.sin(heading)) / step[close]
    assert np.median(np.abs(along)) > 0.999
    assert np.count_nonzero(close) > 100


@pytest.mark.parametrize("pattern", PATTERNS)
def test_motion_cancels_but_for_one_way(pattern):
    rows = layout(pattern, strokes=400)
    mean = np.array([np.sum(rows.slide * np.cos(rows.heading)), np.sum(rows.slide * np.sin(rows.heading))])
    mean /= rows.slide.sum()
    if pattern == "one way":
        np.testing.assert_allclose(mean, [1.0, 0.0], atol=1e-12)
    else:
        # Round an eight headings cancel only over the sample: some 1/(100 groups).
        np.testing.assert_allclose(mean, 0.0, atol=0.02 if pattern == "eight" else 1e-12)


def test_push_and_pull_change_places_and_share_their_spots():
    rows = layout("straight", strokes=40)
    quads = rows.heading.reshape(-1, 4)
    np.testing.assert_allclose(quads, np.tile([0.0, np.pi, np.pi, 0.0], (len(quads), 1)))
    np.testing.assert_allclose(rows.x[0::2], rows.x[1::2])


def test_wobble_comes_in_pairs_of_opposite_sign():
    """Symmetric: each quad wanders as far one way as the other, so hands drift nowhere."""
    rows = layout(strokes=800)
    for z in (rows.z_along, rows.z_across):
        np.testing.assert_allclose(z[0::2], -z[1::2])
        # Standard normal scores: variance 1, by a low-discrepancy sample of some hundreds.
        assert z.var() == pytest.approx(1.0, abs=0.05)
    assert abs(np.mean(rows.z_along * rows.z_across)) < 0.05


def test_same_seed_same_rows_other_seed_others():
    a, b, c = (layout(strokes=100, seed=s) for s in (3, 3, 4))
    assert np.array_equal(a.x, b.x) and np.array_equal(a.z_along, b.z_along)
    assert not np.array_equal(a.x, c.x)


def test_direction_and_operator_turn_the_path():
    straight = layout(strokes=40)
    turned = layout(strokes=40, direction=np.pi / 2)
    np.testing.assert_allclose(turned.y, straight.x, atol=1e-15)
    np.testing.assert_allclose(turned.heading, straight.heading + np.pi / 2)
    round_the_plate = layout(strokes=40, turns=((0.0, np.pi),))
    np.testing.assert_allclose(round_the_plate.x, -straight.x, atol=1e-15)
    assert np.all(round_the_plate.turn == 0.0)


# ---- with what


def resultant(rows, grip=STILL, **more):
    table = poses(rows, grip, **more)
    return 0.1 * table[:, column_kernels.EU], 0.1 * table[:, column_kernels.EV], table[:, column_kernels.LOAD]


def test_high_hands_move_the_resultant_to_the_leading_edge():
    """e = µ·a·(direction of motion), not diluted by weight (moment balance; closed form)."""
    rows = layout(strokes=40)
    for weight in (0.0, 300.0):
        grip = Grip(60.0, 0.05, 0.0, 0.0, 0.0, 0.0, 1.0)
        eu, ev, load = resultant(rows, grip, weight=weight)
        np.testing.assert_allclose(eu, 0.5 * 0.05 * np.cos(rows.heading))
        np.testing.assert_allclose(ev, 0.0, atol=1e-12)
        np.testing.assert_allclose(load, 60.0 + weight)


@pytest.mark.parametrize(
    ("hands", "weight", "wandering", "moves"), [(40.0, 10.0, 0.020, 0.016), (40.0, 300.0, 0.020, 0.0024)]
)
def test_a_heavy_part_dilutes_the_hands(hands, weight, wandering, moves):
    """Worked figures: 40 N wandering 20 mm move it 16 mm under a 10 N part, 2.4 mm under 300 N."""
    rows = layout(strokes=40)
    eu, _, _ = resultant(rows, Grip(hands, 0.0, wandering, 0.0, 0.0, 0.0, 1.0), weight=weight)
    assert eu[0] == pytest.approx(moves, abs=0.05e-3)
    still = resultant(rows, Grip(hands, 0.0, 0.0, 0.0, wandering, 0.0, 1.0), weight=weight)[0]
    np.testing.assert_allclose(still, moves * rows.z_along, atol=0.03 * moves * np.abs(rows.z_along).max())


def test_weight_acts_at_its_own_centre():
    rows = layout(strokes=40, turns=HALF_TURNS, turn_every=10)
    eu, ev, _ = resultant(
        rows, Grip(50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0), weight=150.0, weight_at=(0.02, -0.01)
    )
    np.testing.assert_allclose(eu, 0.75 * 0.02)
    np.testing.assert_allclose(ev, 0.75 * -0.01)


@pytest.mark.parametrize(
    ("turns", "sign"),
    [(STAY, 1.0), (((np.pi, 0.0),), -1.0), (((0.0, np.pi),), -1.0), (((np.pi, np.pi),), 1.0)],
)
def test_turning_the_part_or_walking_round_flips_the_bias_on_the_face(turns, sign):
    """Frames: a half turn flips it, walking round flips it, both do nothing."""
    rows = layout(strokes=40, turns=turns)
    eu, ev, _ = resultant(rows, Grip(50.0, 0.0, 0.010, 0.004, 0.0, 0.0, 1.0))
    np.testing.assert_allclose(eu, sign * 0.010)
    np.testing.assert_allclose(ev, sign * 0.004)


def test_bias_follows_the_operator_on_a_quarter_turn():
    rows = layout(strokes=40, turns=((np.pi / 2, 0.0),))
    eu, ev, _ = resultant(rows, Grip(50.0, 0.0, 0.010, 0.0, 0.0, 0.0, 1.0))
    # The part has been turned anticlockwise, so away from the operator is its own −v.
    np.testing.assert_allclose(eu, 0.0, atol=1e-12)
    np.testing.assert_allclose(ev, -0.010)


def test_push_over_pull_keeps_the_mean_and_its_ratio():
    rows = layout(strokes=40)
    _, _, load = resultant(rows, Grip(60.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0))
    pushing = rows.lean > 0
    assert load[pushing].mean() == pytest.approx(90.0)
    assert load[~pushing].mean() == pytest.approx(30.0)


def test_one_way_strokes_press_as_stated():
    rows = layout("one way", strokes=40)
    _, _, load = resultant(rows, Grip(60.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0), one_way=True)
    np.testing.assert_allclose(load, 60.0)


def test_hands_may_lift():
    rows = layout(strokes=40)
    _, _, load = resultant(rows, Grip(-40.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0), weight=100.0)
    np.testing.assert_allclose(load, 60.0)


@pytest.mark.parametrize(("pattern", "turns"), list(product(("straight", "circle"), (STAY, WALK_ROUND))))
def test_fixed_load_overrides_hands_and_weight(pattern, turns):
    rows = layout(pattern, turns=turns, turn_every=5)
    table = poses(
        rows, Grip(60.0, 0.1, 0.02, 0.02, 0.02, 0.02, 2.0), weight=50.0, load=80.0, load_at=(0.03, -0.02)
    )
    np.testing.assert_allclose(table[:, column_kernels.LOAD], 80.0)
    np.testing.assert_allclose(
        0.1 * table[:, [column_kernels.EU, column_kernels.EV]], np.tile([0.03, -0.02], (len(table), 1))
    )


def test_tracks_of_poses_are_the_layouts():
    rows = layout("eight", strokes=60, turns=QUARTER_TURNS, turn_every=10)
    table = poses(rows)
    np.testing.assert_allclose(table[:, column_kernels.X], rows.x)
    np.testing.assert_allclose(table[:, column_kernels.Y], rows.y)
    np.testing.assert_allclose(
        np.arctan2(table[:, column_kernels.SIN], table[:, column_kernels.COS]) % (2 * np.pi),
        rows.turn,
        atol=1e-12,
    )
    np.testing.assert_allclose(table[:, column_kernels.SLIDE], rows.slide)


# ---- a press that swells


def test_the_press_swells_towards_the_end_of_each_pass_and_that_is_what_is_said():
    """Push and pull alike: by the place in the stroke it would be the far end of both."""
    rows = layout(strokes=400, quad=4.0)
    plain, swelling = (
        poses(rows, grip)[:, column_kernels.LOAD] for grip in (STILL, replace(STILL, swell=0.4))
    )
    gone = rows.progress * np.sign(rows.lean)
    assert {-1.0, 1.0} == set(np.sign(rows.lean))
    assert swelling / plain == pytest.approx(1.0 + 0.4 * gone)
    for way in (1.0, -1.0):
        own = np.sign(rows.lean) == way
        late = own & (gone > 0.5)
        assert late.any() and np.all(swelling[late] > 1.2 * plain[late])
        assert np.all(swelling[own & (gone < -0.5)] < 0.8 * plain[own & (gone < -0.5)])
    said = BY_NAME["hands.swell"].help
    assert "towards the end of each pass, push or pull" in said
    assert "far end" not in said and "near end" not in said
