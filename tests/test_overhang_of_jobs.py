"""How far a face reaches beyond its paper, and in how much of the work: closed forms, and counted rows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from jobs import HALF_TURNS, QUARTER_TURNS, STAY, WALK_ROUND, job

from handlap.sim.common.outline import Outline, circle
from handlap.sim.job.overhang import HANGS, Overhang, longest_inside, overhang_of, overhang_words
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, load_text
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.lapping.poses import lay_out

CLOSED = "closed form"
EXACT: dict[str, Any] = dict(kind=CLOSED, about="edges of the paper")
BOTH = ("left", "right")


def found(outline: Outline | None = None, **how: Any) -> Overhang:
    return overhang_of(job(outline, **how))


# ---- closed forms


def test_a_diagonal_stroke_on_a_narrow_plate(checked):
    """At 45° a travel of L goes L/√2 across: 100 mm of part and 180 mm of travel on a plate of 150 mm."""
    got = found(length=0.24, width=0.1, plate=(1.0, 0.15), pattern="diagonal", travel=0.18)
    across = 0.18 / np.sqrt(2.0)
    source = "travel · sin 45° / 2 less half of the room across"
    checked(
        "reach of a diagonal stroke over the sides of a narrow plate",
        expected=1e3 * (across - 0.05) / 2,
        got=1e3 * got.reach,
        tolerance=1e-6,
        unit="mm",
        source=source,
        **EXACT,
    )
    assert got.sides == ("near", "far") and not got.at_rest
    # Off while |y| is over half the room, which has the tolerance besides.
    room = 0.05 + 2 * HANGS
    checked(
        "share of a diagonal stroke's way with the part over an edge",
        expected=1 - room / across,
        got=got.share,
        tolerance=0.004,
        unit="-",
        source="1 − room / (travel · sin 45°)",
        **EXACT,
    )


def test_quarter_turns_of_a_long_part(checked):
    """300 × 60 mm, strokes along x: turned a quarter, 300 mm stand across a plate of 200 mm, all the time."""
    how: dict[str, Any] = dict(length=0.3, width=0.06, plate=(0.6, 0.2), travel=0.2, turn_every=40)
    got = found(states=QUARTER_TURNS, **how)
    checked(
        "reach of a long part turned a quarter, over the sides of its plate",
        expected=50.0,
        got=1e3 * got.reach,
        tolerance=1e-6,
        unit="mm",
        source="(300 − 200) / 2",
        **EXACT,
    )
    assert got.share == pytest.approx(0.5) and got.at_rest and got.sides == ("near", "far")
    assert not found(states=HALF_TURNS, **how)
    # Nobody who never turns it gets it across; nor does a plan that chooses when to turn leave it.
    assert not found(states=QUARTER_TURNS, **how | {"turn_every": 0})
    assert found(states=QUARTER_TURNS, **how | {"turn_every": None}).share == pytest.approx(0.5)


def test_a_walk_round_strokes_the_other_way():
    """The operator a quarter round: 180 mm of travel across a plate that leaves 100."""
    walk = ((0.0, 0.0), (0.0, np.pi / 2))
    got = found(length=0.24, width=0.1, plate=(0.6, 0.2), travel=0.18, states=walk, turn_every=40)
    assert got.reach == pytest.approx(0.04) and got.sides == ("near", "far")
    assert got.share == pytest.approx(0.5 * (1 - (0.1 + 2 * HANGS) / 0.18), abs=0.003)
    assert not found(length=0.24, width=0.1, plate=(0.6, 0.2), travel=0.18, states=WALK_ROUND, turn_every=40)


def test_circles_about_the_middle_of_the_plate(checked):
    """A round of diameter D leaves a room r to either side while |sin| or |cos| is under r/(D/2)."""
    disc = Outline(circle(0.0, 0.0, 0.1))
    got = found(disc, plate=(0.3, 0.2), pattern="circle", travel=0.12)
    checked(
        "reach of a disc on circles over the sides of the plate",
        expected=10.0,
        got=1e3 * got.reach,
        tolerance=0.02,
        unit="mm",
        source="radius of the circle and of the disc less half the plate",
        **EXACT,
    )
    assert got.sides == ("near", "far")
    rim = float(np.max(disc.rim[:, 1]))
    free = 2 / np.pi * np.arcsin((0.1 + HANGS - rim) / 0.06)
    checked(
        "share of circles with a disc over an edge",
        expected=1 - free,
        got=got.share,
        tolerance=0.006,
        unit="-",
        source="1 − 2/π · arcsin(room / radius of the circle)",
        **EXACT,
    )


def test_an_eight_is_half_as_wide_as_long():
    assert not found(length=0.1, width=0.1, plate=(0.3, 0.2), pattern="eight", travel=0.2)
    got = found(length=0.1, width=0.1, plate=(0.3, 0.19), pattern="eight", travel=0.2)
    assert got.reach == pytest.approx(0.005, abs=1e-5) and got.sides == ("near", "far")


@pytest.mark.parametrize("turned", [0.0, 0.3, np.pi / 4])
def test_a_part_that_just_fits_does_not_hang_over(turned):
    """Neither by floating point nor by the polygon that stands for a circle."""
    outer = np.array([np.cos(turned), np.sin(turned)])
    for pattern in PATTERNS:
        x, y = dict(circle=(1.0, 1.0), diagonal=(0.5**0.5, 0.5**0.5), eight=(1.0, 0.5)).get(pattern, outer)
        if pattern in ("diagonal", "eight") and turned:
            continue
        plate = (0.1 + 0.2 + 0.17 * x, 0.3 + 0.17 * y)
        how: dict[str, Any] = dict(pattern=pattern, travel=0.17, direction=turned, plate=plate)
        assert not found(Outline(circle(0.0, 0.0, 0.3)), **how), pattern
        assert not found(length=0.3, width=0.3, **how), pattern
        less = (plate[0] - 4 * HANGS, plate[1])
        assert found(length=0.3, width=0.3, **how | {"plate": less}).sides == BOTH, pattern


def test_wrists_that_turn_the_part_swing_its_corners_out():
    """Half the twist either way at the ends of the stroke, where the corners reach further across."""
    scenario = twisted(0.6)
    length, width, turn = 0.3, 0.1, 0.3
    reach = 0.5 * (length * np.sin(turn) + width * np.cos(turn)) - 0.5 * 0.16
    assert overhang_of(scenario).reach == pytest.approx(reach, rel=1e-9)
    assert not overhang_of(twisted(0.0))


def twisted(twist: float) -> Scenario:
    scenario = job(length=0.3, width=0.1, plate=(1.0, 0.16), travel=0.2)
    return replace(scenario, hands=replace(scenario.hands, twist=twist))


# ---- strips


def test_a_gap_between_strips_is_told_by_its_width():
    """200 mm of part and 100 of travel over a gap of 6 mm in the middle, and over one that it never meets."""
    strips = [(-0.4, -0.2, -0.003, 0.2), (0.003, -0.2, 0.3, 0.2), (0.31, -0.2, 0.4, 0.2)]
    got = found(length=0.2, width=0.1, plate=(0.8, 0.4), strips=strips, travel=0.1)
    assert (got.reach, got.gap, got.share) == (0.0, pytest.approx(0.006), pytest.approx(1.0))
    butted = [(-0.4, -0.2, 1e-12, 0.2), (0.0, -0.2, 0.4, 0.2)]
    assert not found(length=0.2, width=0.1, plate=(0.8, 0.4), strips=butted, travel=0.1)


def test_a_part_astride_of_a_bare_spot_is_not_over_it():
    """A U stands about the bare spot, its hull over it: the outline itself counts."""
    u = np.array(
        [
            (-0.1, -0.1),
            (0.1, -0.1),
            (0.1, 0.1),
            (0.04, 0.1),
            (0.04, -0.06),
            (-0.04, -0.06),
            (-0.04, 0.1),
            (-0.1, 0.1),
        ]
    )
    bare = [
        (-0.3, -0.3, -0.02, 0.3),
        (0.02, -0.3, 0.3, 0.3),
        (-0.3, -0.3, 0.3, -0.02),
        (-0.3, 0.02, 0.3, 0.3),
    ]
    how: dict[str, Any] = dict(plate=(0.6, 0.6), strips=bare, travel=0.03)
    assert not found(Outline(u), **how)
    assert found(length=0.2, width=0.2, **how).gap == pytest.approx(0.04)
    # 60 mm of travel take either leg over it by 10 mm, near the ends of the stroke.
    got = found(Outline(u), **how | {"travel": 0.06})
    assert got.share == pytest.approx(1 - (0.04 + HANGS) / 0.06, abs=0.01)


# ---- against a laid-out lap

L_SHAPE = np.array(
    [(-0.12, -0.07), (0.12, -0.07), (0.12, -0.02), (-0.05, -0.02), (-0.05, 0.07), (-0.12, 0.07)]
)
ODD_TURNS = ((0.0, 0.0), (0.7, 0.4), (2.0, -1.1))
LAID: dict[str, dict[str, Any]] = {
    "straight, quarter turns": dict(states=QUARTER_TURNS, plate=(0.4, 0.2)),
    "one way, slanting": dict(pattern="one way", direction=0.5, plate=(0.38, 0.2)),
    "diagonal": dict(pattern="diagonal", plate=(0.4, 0.2)),
    "circle, odd turns": dict(pattern="circle", states=ODD_TURNS, plate=(0.42, 0.36)),
    "eight, walking": dict(pattern="eight", states=((0.0, 0.0), (0.0, 1.2)), plate=(0.4, 0.25)),
    "strips": dict(
        strips=[(-0.2, -0.1, 0.04, 0.1), (0.05, -0.1, 0.2, 0.03)], plate=(0.5, 0.5), states=HALF_TURNS
    ),
    "inside": dict(plate=(0.6, 0.5), states=WALK_ROUND),
}


SHAPES = {
    "rectangle": Outline.rectangular(0.24, 0.14),
    "L": Outline(L_SHAPE),
    "disc": Outline(circle(0.0, 0.0, 0.17)),
}


def counted(scenario: Scenario) -> tuple[float, float]:
    """Share of the rows of a lap with a point of the face off the paper, and the furthest beyond its edges.

    Points on a raster of 4 mm inside the rim and along it, in every row of a lap without sway, looked up
    one by one.
    """
    strokes, outline, plate = scenario.strokes, scenario.part.outline, scenario.plate
    rows = lay_out(
        pattern=strokes.pattern, length=strokes.length, direction=strokes.direction,
        states=scenario.turning.states, turn_every=1, strokes=256, quad_strokes=1.0,
    )  # fmt: skip
    at = np.arange(-0.13, 0.13, 4e-3)
    points = np.column_stack([axis.ravel() for axis in np.meshgrid(at, at)])
    points = np.vstack([points[outline.contains(points)], outline.rim_points(1e-3)])
    whole = (-plate.length / 2, -plate.width / 2, plate.length / 2, plate.width / 2)
    laid = [(s.x0, s.y0, s.x1, s.y1) for s in scenario.paper.strips or ()] or [whole]
    low, high = np.array(laid)[:, :2].min(axis=0), np.array(laid)[:, 2:].max(axis=0)
    off, furthest = 0, 0.0
    for x, y, turn in zip(rows.x, rows.y, rows.turn, strict=True):
        c, s = np.cos(turn), np.sin(turn)
        on_plate = points @ np.array([[c, s], [-s, c]]) + [x, y]
        bare = np.ones(len(points), dtype=bool)
        for x0, y0, x1, y1 in laid:
            inside = (on_plate > [x0 - HANGS, y0 - HANGS]) & (on_plate < [x1 + HANGS, y1 + HANGS])
            bare &= ~inside.all(axis=1)
        off += bool(bare.any())
        furthest = max(furthest, float(np.max(low - on_plate)), float(np.max(on_plate - high)))
    return off / rows.x.size, furthest


@pytest.mark.parametrize("shape", SHAPES)
def test_the_share_is_that_of_the_rows_of_a_lap_with_a_point_off_the_paper(checked, shape):
    want, got = [], []
    for name, how in LAID.items():
        scenario = job(SHAPES[shape], turn_every=1, travel=0.12, **how)
        share, furthest = counted(scenario)
        hangs = overhang_of(scenario)
        assert hangs.reach == pytest.approx(furthest if furthest > HANGS else 0.0, abs=2e-3), name
        want.append(share)
        got.append(hangs.share)
    assert 0.0 in want and max(want) > 0.2
    checked(
        f"share of the work with some of the face off the paper, {shape}, seven ways of working",
        expected=want,
        got=got,
        tolerance=0.015,
        unit="-",
        kind="independent implementation",
        source="points off the paper in every row of a lap, counted",
        about="edges of the paper",
    )


# ---- the default stroke


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("states", [STAY, QUARTER_TURNS, ODD_TURNS])
def test_the_longest_stroke_inside_is_the_longest_that_does_not_hang_over(pattern, states):
    for direction in (0.0, 0.4, np.pi / 2):
        how: dict[str, Any] = dict(
            pattern=pattern, states=states, direction=direction, plate=(0.5, 0.42), turn_every=9
        )
        one = job(travel=0.1, **how)
        room = longest_inside(one.part.outline, one.plate, None, one.strokes, one.turning)
        assert 0.02 < room < 1.0
        assert not found(travel=room, **how)
        assert found(travel=room + 6 * HANGS, **how)


TEXT = """
[part]
length = 200
width = 100
metal = "A356"
mass = 2
limit = 50
[paper]
grits = ["P120"]
[[readings.line]]
name = "along"
from = [-100, 0]
to = [100, 0]
held = "rest"
stations = [[10, "none", 30], [100, 40, 50], [190, "none", 30]]
"""


def test_a_stroke_that_nobody_states_keeps_the_turned_part_on_the_plate():
    plate = "[plate]\nlength = 300\nwidth = 220\n"
    plain = load_text(TEXT + plate + '[turning]\nschedule = "none"\n', "x")
    assert plain.strokes.length == pytest.approx(0.1) and not plain.warnings
    walk = load_text(TEXT + plate + "[turning]\nstates = [[0, 0], [90, 90]]\n", "x")
    assert walk.strokes.length == pytest.approx(0.04), "20 mm would be left, and so short nobody strokes"
    assert "over the near and far edge" in walk.warnings[0]
    wider = load_text(TEXT + plate.replace("220", "260") + "[turning]\nstates = [[0, 0], [90, 90]]\n", "x")
    assert wider.strokes.length == pytest.approx(0.06) and not wider.warnings


INCHES = (("200", "8"), ("100", "4"), ("[10,", "[0.4,"), ("190", "7.6"), ("40, 50", "2, 3"), ("30]", "2]"))


def test_the_doubt_at_loading_speaks_the_units_of_the_file():
    """In inches: a part of 8 in, 6 of travel, on a plate of 10."""
    text = 'units = "inch"\n' + TEXT
    for mm, inch in INCHES:
        text = text.replace(mm, inch)
    text += "[plate]\nlength = 10\nwidth = 12\n[strokes]\nlength = 6\n"
    scenario = load_text(text, "x")
    assert scenario.system == "inch"
    (doubt,) = [w for w in scenario.warnings if "off the paper" in w]
    assert doubt.startswith("strokes.length: in 66 % of the work")
    assert doubt.endswith("up to 2 in over the left and right edge of the plate")
    metric = overhang_words(overhang_of(scenario), None, "mm")
    assert metric.endswith("up to 50.8 mm over the left and right edge of the plate")


def test_the_built_in_jobs_stay_on_their_plates_but_one():
    assert not overhang_of(load("two-cylinder-head"))
    long = overhang_of(load("long-part-short-plate"))
    assert long.reach == pytest.approx((0.52 - 0.4) / 2 + 0.04) and long.share == 1.0 and long.at_rest
