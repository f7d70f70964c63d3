"""When dye fades and when it is gone, how that is told, and what a picture of it is evidence of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from jobs import UM, job
from scipy.integrate import quad
from scipy.stats import norm

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping import dye
from handlap.sim.lapping.dye import DyeDraw, draw_dye_scores, draw_dyes, roughness_dyed
from handlap.sim.lapping.dye_picture import DyePicture, of_face, of_shares, zone_shares
from handlap.sim.lapping.dye_words import PLACES, STATES, read_dye, read_shares
from handlap.sim.lapping.ensemble import conditions_at, draw_scores
from handlap.sim.lapping.simulate import simulate
from handlap.sim.materials import grits, metals
from handlap.sim.planning.crew import open_crew

MEMBERS = 20_000
BY_TWO = np.log(2.0) / norm.ppf(0.95)
"""Standard deviation of the logarithm of what is known within a factor of 2, 5 to 95 %."""


# ---- when it fades, when it is gone


def test_the_middle_of_all():
    """A start without a measurement: fades at 1 µm (common practice), gone at 1 µm + 1.5 Ra (derived)."""
    assert dye.MIDDLE_DYE.faded_at(2 * UM) == pytest.approx(1 * UM)
    for ra in (0.0, 0.8, 2.0):
        assert dye.MIDDLE_DYE.gone_at(ra * UM) == pytest.approx((1.0 + 1.5 * ra) * UM)


def test_fading_is_spread_as_it_is_stated(checked):
    draws = draw_dyes(MEMBERS, 0)
    for depth, share in ((0.5, 0.05), (1.0, 0.5), (2.0, 0.95)):
        checked(
            f"share of the cases whose dye has begun to fade with {depth:g} µm off",
            expected=share,
            got=np.mean([draw.fades < depth * UM for draw in draws]),
            tolerance=4.0 * np.sqrt(share * (1.0 - share) / MEMBERS),
            kind="closed form",
            source="log-normal of middle 1 µm and factor 2 from 5 to 95 % (common practice)",
            about="dye",
        )


@pytest.mark.parametrize("ra", [0.5, 3.0])
def test_going_is_spread_as_two_log_normals_are(checked, ra):
    """P(film + valleys·Ra < x) by quadrature, over the score of the film."""
    draws = draw_dyes(MEMBERS, 1)
    depth = 1.0 + 1.5 * ra

    def below(z: float) -> float:
        left = depth - np.exp(BY_TWO * z)
        return norm.pdf(z) * norm.cdf(np.log(left / (1.5 * ra)) / BY_TWO) if left > 0.0 else 0.0

    share, _ = quad(below, -8.0, 8.0, points=[np.log(depth) / BY_TWO], limit=200)
    checked(
        f"share of the cases whose dye is gone with {depth:g} µm off a face of Ra {ra:g} µm",
        expected=share,
        got=np.mean([draw.gone_at(ra * UM) < depth * UM for draw in draws]),
        tolerance=4.0 * np.sqrt(share * (1.0 - share) / MEMBERS),
        kind="closed form",
        source="sum of two log-normal depths, 1 µm and 1.5 Ra, each within a factor of 2",
        about="dye",
    )


def test_draws_have_a_generator_of_their_own_and_leave_the_hands_alone():
    scenario = job(face=lambda u, v: 0.0 * u)
    members = open_crew(load("two-cylinder-head"), members=8, seed=3).members.conditions
    alone = [conditions_at(load("two-cylinder-head"), z) for z in draw_scores(8, 3)]
    assert [replace(c, plate=None, dye=dye.MIDDLE_DYE) for c in members] == alone
    assert tuple(c.dye for c in members) == draw_dyes(8, 3)
    # Alike whether few or many are drawn, and whatever the job; other with another seed.
    assert draw_dyes(64, 3)[:8] == draw_dyes(8, 3)
    assert tuple(c.dye for c in open_crew(scenario, members=8, seed=3).members.conditions) == draw_dyes(8, 3)
    assert not np.array_equal(draw_dye_scores(8, 3), draw_dye_scores(8, 4))


def test_worn_paper_leaves_a_face_of_less_than_its_own_roughness():
    """0.5–0.7 of it (derived), so 0.6; before the first stroke the whole Ra of the paper is taken."""
    grit, metal = grits.find("P80"), metals.find("A356")
    rough = grit.roughness_median(metal)
    assert roughness_dyed(grit, metal, worked=False) == pytest.approx(rough)
    assert roughness_dyed(grit, metal, worked=True) == pytest.approx(0.6 * rough)


def test_dye_put_on_again_lies_on_what_the_paper_left():
    """3 µm off everywhere from look to look: left on Ra 2 µm (4 µm), then gone; on Ra 1.2 (2.8) gone."""
    faces = -3 * UM * np.arange(1, 5)[:, None] * np.ones(3)
    found = dye.follow(np.zeros(3), faces, np.ones(3), dye.MIDDLE_DYE, 2 * UM, 1.2 * UM)
    assert found.left.tolist() == [1.0, 0.0, 0.0, 0.0]
    assert found.faded_share.tolist() == [1.0] * 4


@pytest.mark.parametrize("draw", [dye.MIDDLE_DYE, DyeDraw(0.6 * UM, 1.7 * UM, 2.5)])
def test_shares_on_a_wedge_are_the_closed_form(checked, draw):
    """From nothing off at the left end to 10 µm at the right: a depth is passed on the rest of the length."""
    outline, ra = Outline.rectangular(0.2, 0.1), 0.8
    grid = make_grid(outline, cells=40_000)
    off = 10 * UM * (grid.u[: grid.n_cells] / 0.2 + 0.5)
    shown = of_face(0.5, 0.5).shown(grid, off, draw.gone_at(ra * UM), draw.faded_at(ra * UM))
    course = dye.follow(0.0 * off, -off[None], grid.area[: grid.n_cells], draw, ra * UM, ra * UM)
    assert shown.tolist() == pytest.approx([1.0 - course.left[0], course.faded_share[0]])
    gone = 1.0 - (draw.film / UM + draw.valleys * ra) / 10.0
    for what, expected, got in (
        ("gone", gone, shown[0]),
        ("fading or gone", 1.0 - draw.fades / UM / 10.0, shown[1]),
    ):
        checked(
            f"share of a wedge of 0 to 10 µm with dye {what}, of dye that fades at {draw.fades / UM:g} µm",
            expected=expected,
            got=got,
            tolerance=0.005,
            kind="closed form",
            source="a removal that rises evenly passes a depth at its share of the length",
            about="dye",
        )


def test_a_face_worn_evenly_shows_when_dye_fades_and_when_it_is_gone():
    """Closed form h = k·W·s/A, 20 nm a stroke: fading after 1 µm, gone after 1 µm + 1.5 Ra."""
    scenario = load("formula-check")
    rough = scenario.paper.grits[0].roughness_median(scenario.part.metal)
    for depth, name in ((1.0 * UM, "dye_faded"), (1.0 * UM + 1.5 * rough, "dye_gone")):
        strokes = depth / (0.02 * UM)
        for count, share in ((np.floor(strokes - 0.5), 0.0), (np.ceil(strokes + 0.5), 1.0)):
            found = simulate(scenario, strokes=int(count))
            got = found.looks.dye_faded[-1] if name == "dye_faded" else found.looks.dye_gone[-1]
            assert got == pytest.approx(share, abs=1e-12), (name, count)


# ---- how it is told


@pytest.mark.parametrize(
    ("text", "letters"),
    [
        ("gone at the left end", "gllll" * 3),
        ("gone at both ends", "glllg" * 3),
        ("left in the middle", "ggggg glllg ggggg"),
        ("gone everywhere but the right end", "ggggl" * 3),
        ("half gone in the middle, gone at both ends", "g???g ghhhg g???g"),
        ("fading everywhere", "fffff" * 3),
        ("fading at both ends", "fuuuf" * 3),
        ("gone at both ends, fading in the middle", "g???g gfffg g???g"),
        ("full everywhere, gone at the corners", "guuug uuuuu guuug"),
        ("gone at the corners, fading at both ends; untouched in the middle", "g???g fuuuf g???g"),
        ("full", "uuuuu" * 3),
    ],
)
def test_words_are_read_as_zones(text, letters):
    told, lettered = read_dye(text), read_dye(letters)
    np.testing.assert_array_equal(told.gone, lettered.gone)
    np.testing.assert_array_equal(told.faded, lettered.faded)


def test_what_is_left_may_be_fading_or_full():
    assert np.isnan(read_dye("left").faded).all()
    either = read_dye("fading or gone everywhere but the middle")
    assert np.isnan(either.gone[0]) and either.faded.tolist() == [1] * 6 + [0] * 3 + [1] * 6


def test_shares_are_of_dye_left_as_in_old_logs():
    told = read_dye("0 20% 0.4 - 1/1 1 1 1 1/0 0 0 0 0")
    assert told.gone[:5].tolist() == pytest.approx([1.0, 0.8, 0.6, np.nan, 0.0], nan_ok=True)
    assert np.isnan(told.faded).all()


@pytest.mark.parametrize(
    "text", ["", "blue", "gone in the sky", "gggg", "?" * 15, "left end", "1 2/3", "full in the ggggg"]
)
def test_what_is_not_understood_is_refused_with_what_is(text):
    with pytest.raises(ValueError, match=r"g gone.* f fading|3 rows of 5|nothing was seen"):
        read_dye(text)


@pytest.mark.parametrize("text", ["1 1 1 1 1/1 1 1 1 1/1 1 1 1 130", "1 1 1 1 1/1 1 1 1 1/1 1 1 1 x"])
def test_shares_out_of_range_are_refused(text):
    with pytest.raises(ValueError, match="from 0 to 1"):
        read_shares(text)


def test_every_place_and_state_that_is_listed_is_read():
    for place in PLACES:
        assert (read_dye(f"gone in the {place}").gone == 1.0).any()
    for state in STATES:
        found = read_dye(f"{state} in the middle")
        assert np.isfinite([found.gone[7], found.faded[7]]).any(), state


# ---- what it is evidence of


def test_two_zones_share_the_metal_between_them_by_area():
    grid = make_grid(Outline.rectangular(0.2, 0.06), cells=600)
    gone = (grid.u[: grid.n_cells] > 0.0).astype(float)
    shares = zone_shares(grid, gone).reshape(3, 5)
    assert shares[:, :2] == pytest.approx(np.zeros((3, 2)))
    assert shares[:, 3:] == pytest.approx(np.ones((3, 2)))
    assert shares[:, 2] == pytest.approx(np.full(3, 0.5), abs=0.06)


def test_what_follows_from_the_other_share_is_no_second_witness():
    assert np.isfinite(read_dye("g" * 15).seen).tolist() == [True] * 15 + [False] * 15
    assert np.isfinite(read_dye("u" * 15).seen).tolist() == [False] * 15 + [True] * 15
    assert np.isfinite(read_dye("f" * 15).seen).all()
    assert of_face(0.25, None).seen.tolist() == pytest.approx([0.75, np.nan], nan_ok=True)
    assert of_face(None, 0.5).seen.tolist() == pytest.approx([np.nan, 0.5], nan_ok=True)


def test_a_picture_is_likeliest_where_the_shares_are_what_is_seen():
    seen = read_dye("gfuug gfuug gfulg")
    shares = np.concatenate([seen.gone, np.nan_to_num(seen.faded)])
    assert seen.log_likelihood(shares) > seen.log_likelihood(1.0 - shares)
    assert seen.log_likelihood(shares) > seen.chance_by_luck > seen.log_likelihood(1.0 - shares)


@pytest.mark.parametrize("levels", [3, 11])
def test_calls_of_one_zone_over_its_levels_are_a_distribution(levels):
    zone = np.full(15, np.nan)
    chances = []
    for call in np.linspace(0.0, 1.0, levels):
        gone = np.where(np.arange(15) == 4, call, zone)
        chances.append(np.exp(DyePicture(gone, zone, 0.2, levels).log_likelihood(np.full(30, 0.3))))
    assert sum(chances) == pytest.approx(1.0)


def test_zones_without_metal_say_nothing():
    ring = Outline.rectangular(
        0.2, 0.12, (0.099 * np.array([[-1, -0.35], [1, -0.35], [1, 0.35], [-1, 0.35]]),)
    )
    grid = make_grid(ring, cells=2000)
    told = of_shares(np.full((3, 5), 0.5)).on_metal(grid)
    assert np.isnan(told.gone[6:9]).all() and np.isfinite(told.gone[[0, 4, 10, 14]]).all()
