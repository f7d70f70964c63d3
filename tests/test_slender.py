"""Long thin parts: a stiffness measured between two supports, and parts wrongly taken as rigid.

The plane's sole is the case everybody knows: 0.6 to 0.8 N/µm for iron soles of 355 to 560 mm
(common practice, no source).
"""

from __future__ import annotations

import numpy as np
import pytest
from bad_scenarios import SHORT
from bending_reference import on_end_lines
from click.testing import CliRunner
from scipy.integrate import quad

from handlap.cli.main import main
from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.outline import Outline, circle, rectangle
from handlap.sim.common.units import parse_quantity, show, to_si
from handlap.sim.job.scenario_file import load, load_text, read_text
from handlap.sim.job.slender import WORTH_A_DOUBT, as_stiff_as, bent_per_newton, mean_thickness
from handlap.sim.lapping.bending import make_bending
from handlap.sim.planning.plan import make_plan

LBF_A_THOU = 4.4482216152605 / 25.4e-6
RAIL = SHORT.replace("length = 200\nwidth = 100", "length = 360\nwidth = 60").replace(
    "from = [-100, 0]\nto = [100, 0]", "from = [-180, 0]\nto = [180, 0]"
)
"""A bar of cast aluminium 360 × 60 mm, of 2 kg, limit 50 µm."""


def changed(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


# ---- the closed forms


def test_a_bar_of_two_widths_bends_as_the_unit_load_integral_says(checked):
    """Ends on supports, load in the middle, two windows half as wide as the bar: ∫M²/EI by hand."""
    length, width, thick, modulus = 0.3, 0.06, 0.006, 70e9
    window = (rectangle(0.06, 0.03, -0.07, 0.0), rectangle(0.06, 0.03, 0.07, 0.0))
    inertia = width * thick**3 / 12

    def squared(a: float, b: float) -> float:
        return 2 * (b**3 - a**3) / (3 * 4)

    # From the nearer support, a window runs from 50 to 110 mm and halves the width there.
    by_hand = (squared(0.0, 0.15) + squared(0.05, 0.11)) / (modulus * inertia)
    checked(
        "bar with two windows on two supports, deflection of the middle",
        got=bent_per_newton(Outline.rectangular(length, width, window), modulus, thick, length),
        expected=by_hand,
        tolerance=1e-3 * by_hand,
        unit="m/N",
        kind="closed form",
        source="unit-load integral of M²/EI, two widths",
        about="bending",
    )


def test_a_bar_that_tapers_and_one_that_is_round():
    """Width by other means than the program's: a straight taper, and a chord of the circle."""
    taper = Outline(np.array([[-0.15, -0.01], [0.15, -0.04], [0.15, 0.04], [-0.15, 0.01]]))

    def even(u: float) -> float:
        return ((0.15 - abs(u)) / 2) ** 2 / (0.05 + 0.2 * u)

    def round_(u: float) -> float:
        return ((0.08 - abs(u)) / 2) ** 2 / (2 * np.sqrt(0.08**2 - u**2))

    assert bent_per_newton(taper, 12.0, 1.0, 0.3) == pytest.approx(quad(even, -0.15, 0.15)[0], rel=1e-4)
    disc = Outline(circle(0.0, 0.0, 0.16))
    assert bent_per_newton(disc, 12.0, 1.0, 0.16) == pytest.approx(quad(round_, -0.08, 0.08)[0], rel=3e-3)


@pytest.mark.parametrize("span", [0.36, 0.25])
def test_the_plate_bends_by_load_over_stiffness(checked, span):
    """P·L³/(48·E·I) on two end lines: a plate beside the beam, so Poisson's ratio is left in.

    2 %: a strip four to six times as long as wide is stiffened that little by it.
    """
    text = RAIL.replace("mass = 2", f"mass = 2\nstiffness = 0.7\nstiffness_span = {1e3 * span}")
    bar = load_text(text, "rail.toml").part
    modulus = bar.metal.youngs_modulus
    beam = (0.7e6 * span**3 / (48 * modulus) * 12 / 0.06) ** (1 / 3)
    assert bar.thickness is None
    assert bar.ribbed_as == pytest.approx(beam, rel=1e-5)
    checked(
        f"strip of 0.7 N/µm between lines {1e3 * span:.0f} mm apart, bent by 10 N",
        got=10 * on_end_lines(bar, 12, "line", span),
        expected=10 / 0.7e6,
        tolerance=0.02 * 10 / 0.7e6,
        unit="m",
        kind="closed form",
        source="P·L³/(48·E·I), I = b·t³/12",
        about="bending",
    )


def test_openings_are_part_of_what_was_measured(checked):
    """The sole with its mouth: a smooth shape cannot bend as sharply there as a beam does, hence 7 %."""
    sole = load("plane-sole").part
    checked(
        "plane's sole of 4 lbf/thou with its mouth, bent by 10 lbf between its ends",
        got=on_end_lines(sole, 12, "line") * 10 * 4.4482216152605,
        expected=2.5 * 25.4e-6,
        tolerance=0.07 * 2.5 * 25.4e-6,
        unit="m",
        kind="closed form",
        source="load over stiffness, as measured between two supports",
        about="bending",
    )


def test_the_few_shapes_that_are_kept_bend_as_all_do():
    """What a lap computes with: the softest nine shapes, loads even along the lines (no support lifts)."""
    bar = load_text(RAIL.replace("mass = 2", "mass = 2\nstiffness = 0.7"), "rail.toml").part
    bent = make_bending(bar)
    assert bent is not None
    at, share = np.polynomial.legendre.leggauss(24)

    def mean(u: float) -> np.ndarray:
        return 0.5 * share @ bent.shapes_at(np.column_stack([np.full(24, u), at * 0.03]))

    load_shape = mean(0.0) - 0.5 * (mean(0.18) + mean(-0.18))
    assert load_shape @ np.linalg.solve(bent.stiffness, load_shape) == pytest.approx(1 / 0.7e6, rel=0.015)


# ---- the key


def test_stiffness_in_either_system():
    assert parse_quantity("0.7 N/um", "stiffness") == pytest.approx(0.7e6)
    assert parse_quantity("700 N/mm", "stiffness") == pytest.approx(0.7e6)
    assert to_si(4.0, "stiffness", "inch") == pytest.approx(4 * LBF_A_THOU, rel=1e-14)
    assert parse_quantity("4000 lbf/in", "stiffness") == pytest.approx(4 * LBF_A_THOU, rel=1e-14)
    assert show(0.7e6, "stiffness") == "0.7 N/µm"
    assert show(4 * LBF_A_THOU, "stiffness", "inch") == "4 lbf/thou"


def test_the_sole_states_the_stiffness_that_is_common():
    sole = load("plane-sole")
    outline, thick = sole.part.outline, sole.part.ribbed_as or 0.0
    each = bent_per_newton(outline, sole.part.metal.youngs_modulus, thick, outline.length)
    assert 0.6e6 <= 1.0 / each <= 0.8e6
    assert not any("rigid" in words for words in sole.warnings)
    plain = {key: words for key, words, _ in sole.assumed_plain}
    assert plain["part.ribbed_as"].endswith(" in") and "part.thickness" not in plain


def test_supports_are_taken_at_the_ends_and_that_is_said():
    s = load_text(RAIL.replace("mass = 2", "mass = 2\nstiffness = 0.7"), "rail.toml")
    plain = {key: (words, basis) for key, words, basis in s.assumed_plain}
    assert plain["part.stiffness_span"][0] == "360 mm"
    assert plain["part.ribbed_as"][1] == "from part.stiffness" and "part.pressing" in plain


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        ("stiffness = 0.7\nthickness = 12", "part.stiffness", "either part.thickness or part.stiffness"),
        ("stiffness = 0.7\nribbed_as = 12", "part.stiffness", "either part.ribbed_as or part.stiffness"),
        ("stiffness_span = 300", "part.stiffness", "part.stiffness_span needs it"),
        ("stiffness = 0.7\nstiffness_span = 361", "part.stiffness_span", "length of the part, 360 mm"),
        ("stiffness = 0", "part.stiffness", "0.001 to 10000 N/µm"),
        ('stiffness = "0.7 N"', "part.stiffness", "N/µm, N/mm, lbf/thou, lbf/in"),
    ],
)
def test_what_cannot_be_is_refused_once(lines, key, words):
    with pytest.raises(ScenarioError) as refused:
        load_text(RAIL.replace("mass = 2", f"mass = 2\n{lines}"), "rail.toml")
    (fault,) = refused.value.faults
    assert fault.key == key and words in str(fault)


def test_a_stiffness_no_plate_has_is_doubted():
    s = load_text(RAIL.replace("mass = 2", "mass = 2\nstiffness = 5000"), "rail.toml")
    assert any(w.startswith("part.stiffness:") and "over a third of the length" in w for w in s.warnings)


# ---- taken as rigid


def doubts(text: str) -> list[str]:
    return [w for w in load_text(text, "rail.toml").warnings if w.startswith("part.thickness")]


def test_a_slender_part_is_doubted_from_a_tenth_of_its_limit():
    """2 kg of A356 over 360 × 60 mm make a bar 34.5 mm thick: F·L³/(48·E·b·t³/12) is 0.33 µm for 40 N."""
    bar = load_text(RAIL, "rail.toml").part
    thick = 2.0 / (2680 * 0.36 * 0.06)
    assert mean_thickness(bar) == pytest.approx(thick, rel=1e-3)
    each = 0.36**3 / (48 * bar.metal.youngs_modulus * 0.06 * thick**3 / 12)
    tenth = WORTH_A_DOUBT * 5e-6 / each
    thin = changed(RAIL, ("limit = 50", "limit = 5"))
    assert doubts(thin + f"[hands]\npress = {0.98 * tenth}\n") == []
    assert len(doubts(thin + f"[hands]\npress = {1.02 * tenth}\n")) == 1
    assert doubts(RAIL) == []


def test_the_doubt_has_the_figure_in_the_units_of_the_file_and_the_remedy():
    (words,) = doubts(changed(RAIL, ("mass = 2", "mass = 0.5")) + "[hands]\npress = 40\n")
    # 8.6 mm thick on average; 40 N bend it some 168 µm, and 5 µm are a tenth of the limit.
    for figure in ("8.6 mm", "168 µm", "40 N", "is 5 µm", "factor of 3"):
        assert figure in words, words
    for remedy in ("part.stiffness", "part.thickness", "stiff block"):
        assert remedy in words
    text = read_text("plane-sole")
    silent = changed(
        text, ("stiffness = 4 ", "# "), ("stiffness_span = 14", ""), ('pressing = "two pads"', "")
    )
    (inches,) = load_text(silent, "sole.toml").warnings
    for figure in ("0.65 in", "0.63 thou", "8 lbf", "0.15 thou"):
        assert figure in inches, inches
    assert "µm" not in inches and "mm" not in inches


@pytest.mark.parametrize(
    "lines", ["thickness = 9", "thickness = 9\nribbed_as = 12", "stiffness = 0.7", "weight_at = [0, 0]"]
)
def test_what_is_stated_is_not_doubted(lines):
    thin = changed(RAIL, ("mass = 2", f"mass = 0.5\n{lines}"))
    assert bool(doubts(thin)) == (lines.startswith("weight_at"))


def test_a_lap_fixed_by_a_formula_is_not_doubted():
    thin = changed(RAIL, ("mass = 2", "mass = 0.5"))
    assert doubts(thin) and not doubts(thin + "[exact]\nload = 100\n")


def test_lifting_hands_bend_nothing():
    assert doubts(changed(RAIL, ("mass = 2", "mass = 0.5")) + "[hands]\npress = -2\n") == []


@pytest.mark.parametrize("command", [["survey", "--members", "16"], ["simulate", "--strokes", "20"]])
def test_reports_show_the_doubt(command, tmp_path):
    file = tmp_path / "rail.toml"
    file.write_text(changed(RAIL, ("mass = 2", "mass = 0.5")), encoding="utf-8")
    result = CliRunner().invoke(main, [command[0], str(file), *command[1:]])
    assert result.exit_code == 0, result.output
    shown = " ".join(result.stdout.split())
    assert "taken as rigid, but it may not be" in shown


# ---- what comes of it


def test_the_plan_of_a_sole_shows_what_springs_back():
    """8 lbf on 4 lbf/thou: 2 thou between two supports, less once the paper holds it up everywhere."""
    plan = make_plan(load("plane-sole"), members=8, seed=1)
    assert plan.spring is not None
    between_supports = 2 * 25.4e-6
    assert 0.1 * between_supports < plan.spring.comes_back < between_supports


def test_stiffer_between_supports_is_stiffer_for_good():
    outline = Outline.rectangular(0.36, 0.06)
    thick = [as_stiff_as(outline, 100e9, k, 0.36) for k in (0.35e6, 0.7e6, 5.6e6)]
    assert thick[2] == pytest.approx(2 * thick[1]) and thick[0] < thick[1]
