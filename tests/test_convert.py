"""``handlap convert``: figures, refusals, exit codes, one JSON object."""

import json

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.materials.conversion import read_area, read_density, read_quantities


def run(*words, columns="80"):
    return CliRunner(env={"COLUMNS": columns, "NO_COLOR": "1"}).invoke(main, ["convert", *words])


def as_json(*words):
    found = run(*words, "--json")
    assert found.exit_code == 0, found.output
    return json.loads(found.stdout)


# ---- units: exact by definition (1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 kgf = 9.80665 N)


@pytest.mark.parametrize(
    ("words", "unit", "value"),
    [
        (("2", "thou"), "um", 50.8), (("2thou",), "mm", 0.0508), (("50.8", "µm"), "thou", 2.0),
        (("50.8 um",), "in", 0.002), (("1", "lbf"), "N", 4.448222), (("1kgf",), "N", 9.80665),
        (("9.80665", "N"), "kgf", 1.0), (("-9", "lbf"), "N", -40.03399), (("1", "lb"), "g", 453.5924),
        (("1 oz",), "g", 28.34952), (("0", "g"), "kg", 0.0),
    ],
)  # fmt: skip
def test_units(words, unit, value):
    (found,) = as_json(*words)["conversions"]
    assert found[unit] == pytest.approx(value, rel=1e-6)


def test_one_unit_serves_all_numbers_before_it():
    found = as_json("1.5", "2,", "3", "4thou", "P120", "240", "400", "US", "9", "lbf")
    texts = [one["given"] for one in found["conversions"]]
    assert texts == ["1.5 thou", "2 thou", "3 thou", "4 thou", "P120", "240 US", "400 US", "9 lbf"]
    assert found["schema"] == "handlap.convert/1" and found["face"] is None


# ---- grams and depth (closed form d = m/(ρ·A))


@pytest.mark.parametrize(
    ("grams", "density", "area", "depth"),
    [
        ("2.70", "2.70 g/cm3", "100 cm2", 100.0),
        ("1", "2680 kg/m³", "250 cm²", 14.925),
        ("1", "7.15 g/cm³", "0.025 m2", 5.594),
    ],
)
def test_grams_into_depth_and_back(grams, density, area, depth):
    face = ("--density", density, "--area", area)
    found = as_json(grams, "g", *face)
    um = found["conversions"][0]["mean_depth_um"]
    assert um["solid"] == um["low"] == um["high"] == pytest.approx(depth, abs=5e-4)
    assert found["face"]["metal"] is None
    back = as_json(f"{um['solid']} µm", *face)["conversions"][0]["mass_g"]
    assert back["solid"] == pytest.approx(float(grams), rel=1e-6)


def test_castings_and_swarf_widen_the_band():
    face = ("--metal", "cast aluminium", "--area", "450 cm2")
    plain = as_json("18 g", *face)["conversions"][0]["mean_depth_um"]
    swarf = as_json("18 g", *face, "--swarf")["conversions"][0]["mean_depth_um"]
    assert plain["solid"] == plain["low"] < plain["high"] == pytest.approx(plain["low"] / 0.95, rel=1e-6)
    assert swarf["low"] == pytest.approx(plain["low"] / 0.95, rel=1e-6)
    assert swarf["high"] == pytest.approx(plain["high"] / 0.85, rel=1e-6)


def test_area_and_metal_of_a_scenario():
    from handlap.sim.job.scenario_file import load

    part = load("two-cylinder-head").part
    found = as_json("0.1 mm", "--scenario", "two-cylinder-head")
    assert found["face"]["metal"] == part.metal.name
    assert found["face"]["area_mm2"] == pytest.approx(part.outline.area * 1e6, rel=1e-6)
    expected = 1e3 * part.outline.area * part.metal.density * 1e-4
    assert found["conversions"][0]["mass_g"]["solid"] == pytest.approx(expected, rel=1e-6)
    other = as_json("0.1 mm", "--scenario", "two-cylinder-head", "--metal", "brass")
    assert other["conversions"][0]["mass_g"]["solid"] == pytest.approx(
        expected * 8490.0 / part.metal.density, rel=1e-6
    )


# ---- grades


@pytest.mark.parametrize(
    ("words", "p", "us"),
    [
        ("400 US", "P800", 400), ("US 240", "P280", 240), ("P120", "P120", 120), ("p1200", "P1200", 600),
        ("180 grit", "P180", 180), ("P2500", "P2500", None), ("P12", "P12", 12),
    ],
)  # fmt: skip
def test_grades(words, p, us):
    (found,) = as_json(words)["conversions"]
    assert (found["p"], found["us"]) == (p, us)
    if found["us_grain_um"] is not None:
        assert found["p_over_us"] == pytest.approx(found["p_grain_um"] / found["us_grain_um"], rel=1e-6)


def test_grade_with_a_metal_says_what_finish_it_leaves():
    (found,) = as_json("P120", "--metal", "A356")["conversions"]
    low, high = found["roughness_ra_um"]
    assert low < 125 / 70 < high
    assert "leaves Ra 1.3–2.5 µm" in run("P120", "--metal", "A356").output
    mixed = as_json("P120", "1 g", "--density", "2.7 g/cm3", "--area", "9 cm2")["conversions"]
    assert "roughness_ra_um" not in mixed[0], "a density says nothing of the finish"


# ---- on the screen


@pytest.mark.parametrize("columns", ["80", "40"])
def test_text_fits_the_screen(columns):
    face = ("--metal", "A356", "--area", "425 cm2", "--swarf")
    found = run("18 g", "1.5 2 thou", "9 lbf", "400 US", "P2500", *face, columns=columns)
    assert found.exit_code == 0
    assert max(map(len, found.output.splitlines())) <= int(columns)


def test_text_gives_every_number_a_unit():
    output = run("18 g", "--metal", "A356", "--area", "425 cm2").output
    assert "18 g = 0.018 kg" in output
    assert "mean depth 158.0 µm (6.222 thou)" in output
    assert "158–166 µm with the pores of a casting" in output
    assert "425 cm² of A356, 2.68 g/cm³ without pores" in output
    assert "For the mean depth give the metal" in run("18 g").output


# ---- refusals


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["5"], '"5" has no unit'),
        (["5", "furlong"], '"5 furlong" is no quantity'),
        (["abc"], '"abc" is no quantity'),
        ([""], "nothing to convert"),
        (["0,05", "mm"], "a decimal point, not a comma"),
        (["nan", "g"], '"nan" is no quantity'),
        (["1e999", "g"], "out of reach"),
        (["3 4"], '"3" has no unit'),
        (["3", "P120"], '"3" has no unit'),
        (["1.5", "US"], "whole numbers"),
        (["P130"], "the nearest is P120"),
        (["330", "US"], "the nearest is 320"),
        (["320", "grit"], "could be P or US"),
        (["--aera", "3"], 'no option "--aera"'),
        (["3 g", "--metal", "bras", "--area", "3 cm2"], 'the nearest is "brass"'),
        (["3 g", "--metal", "brass"], "the area of the face is missing"),
        (["3 g", "--area", "3 cm2"], "the metal is missing"),
        (["3 g", "--swarf"], "the metal is missing"),
        (["3 g", "--metal", "brass", "--density", "8 g/cm3"], "either --metal or --density"),
        (["3 g", "--area", "3 cm2", "--scenario", "plane-sole"], "either --area or --scenario"),
        (["3 g", "--scenario", "no-such-job"], "no built-in scenario"),
        (["3 g", "--metal", "brass", "--area", "3"], 'area "3": allowed is a number with one of the units'),
        (["3 g", "--metal", "brass", "--area", "-3 cm2"], "above 0"),
        (["3 g", "--density", "2680 g/cm3", "--area", "3 cm2"], "that of no metal"),
        (["-3 g", "--metal", "brass", "--area", "3 cm2"], "0 or more"),
        (["9 lbf", "--metal", "brass"], "no grams, depth or grade"),
        (["9 lbf", "--metal", "brass", "--area", "3 cm2"], "no grams or depth"),
        (["P120", "--density", "2.7 g/cm3"], "a density is given, but no grams or depth"),
        (["P120", "--metal", "brass", "--swarf"], "no grams or depth"),
        (["1 thou"] * 201, "more than 200"),
        ([], "Missing argument"),
    ],
)
def test_bad_input_is_one_message_and_exit_code_2(words, message):
    for extra in ([], ["--json"]):
        found = run(*words, *extra)
        assert found.exit_code == 2
        assert message in found.stderr
        assert found.stdout == ""
        assert "Traceback" not in found.output


def test_measures_alone():
    assert read_area("2 in2") == pytest.approx(2 * 0.0254**2)
    assert read_area("250 cm^2") == read_area("25000 mm²") == pytest.approx(0.025)
    assert read_density("7.15 g/cm3") == pytest.approx(7150.0)
    (given,) = read_quantities("3 thousandths")
    assert given.value == pytest.approx(76.2e-6)
