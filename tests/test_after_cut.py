"""What a cut does: bands, limits, and what is refused."""

from __future__ import annotations

import math

import pytest

from handlap.sim.bench.after_cut import (
    cam_retard,
    clearance_after,
    compression_ratio,
    effects_of,
)
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job import scenario_file
from handlap.sim.job.results import Band
from handlap.sim.job.surroundings import Surroundings

UM = 1e-6
MEAN, MOST = Band(40 * UM, 50 * UM, 60 * UM), Band(80 * UM, 100 * UM, 120 * UM)


def effect(stated: Surroundings, name: str):
    return next(e for e in effects_of(stated, MEAN, MOST) if e.name == name)


def test_nothing_stated_nothing_said():
    assert Surroundings().empty
    assert effects_of(Surroundings(), MEAN, MOST) == ()


@pytest.mark.parametrize(("least", "met"), [(9.87e-3, True), (9.89e-3, None), (9.93e-3, False), (None, None)])
def test_thickness_against_its_minimum(least, met):
    found = effect(Surroundings(thickness=10e-3, thickness_least=least), "thickness")
    assert found.met is met
    assert found.after.p50 == pytest.approx(9.9e-3)
    assert found.after.p05 < found.after.p50 < found.after.p95


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("valve_clearance", "valve to piston"),
        ("squish", "squish clearance"),
        ("dowel_depth", "depth of the dowel holes"),
        ("bolt_depth", "depth of the bolt holes"),
        ("end_float", "end float"),
    ],
)
def test_clearances_fall_one_for_one(key, name):
    found = effect(Surroundings(**{key: 1e-3}), name)
    assert found.before - found.after.p50 == pytest.approx(MOST.p50)
    assert found.before - found.after.p05 == pytest.approx(MOST.p95)


def test_ratio_rises_and_volume_falls():
    stated = Surroundings(swept=500e-6, clearance=50e-6, chamber_area=5e-3)
    volume, ratio = effect(stated, "volume over the piston"), effect(stated, "compression ratio")
    assert volume.after.p95 < volume.before
    assert ratio.after.p05 > ratio.before == pytest.approx(11.0)


def test_the_crank_sees_twice_the_retard_of_the_cam():
    stated = Surroundings(cam_radius=50e-3, crank_radius=25e-3, cam_distance=0.3)
    cam, crank = effect(stated, "cam retard, at the cam"), effect(stated, "cam retard, at the crank")
    assert crank.after.p50 == pytest.approx(2 * cam.after.p50)
    # Equal wheels: no slant, so just depth over radius.
    assert cam_retard(1e-3, 50e-3, 50e-3, 0.3) == pytest.approx(0.02)


def test_the_flange_of_a_v_engine():
    stated = Surroundings(bank_angle=math.radians(30.0))
    assert effect(stated, "inlet flange, along its face").after.p50 == pytest.approx(0.5 * MEAN.p50)
    assert effect(stated, "inlet flange, along its normal").after.p50 == pytest.approx(0.75**0.5 * MEAN.p50)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="deeper than the chamber"):
        clearance_after(1e-6, 5e-3, 1e-3)
    with pytest.raises(ValueError, match="above 0"):
        compression_ratio(0.0, 1.0)
    with pytest.raises(ValueError, match="distance of their centres"):
        cam_retard(1e-3, 0.2, 0.2, 0.3)


# ---- from the scenario file


def stated_in(lines: str, openings: str = "[{circle = [-50, 0, 60]}, {circle = [50, 0, 80]}]"):
    return scenario_file.load_text(
        '[part]\nlength = 200\nwidth = 100\nmetal = "A356"\nmass = 3\nlimit = 50\n'
        f"openings = {openings}\n[part.after]\n{lines}\n"
        '[[readings.line]]\nname = "a"\nfrom = [-100, -45]\nto = [100, -45]\nstations = [[10, "none", 30]]\n',
        "x",
    ).part.after


def test_keys_become_surroundings():
    found = stated_in(
        "thickness = 30\nthickness_least = 29.5\nbore = 86\nstroke = 86\n"
        'clearance = "3.2 in³"\nbank_angle = 35'
    )
    assert found.thickness == pytest.approx(0.03)
    assert found.swept == pytest.approx(499.56e-6, rel=1e-4)
    assert found.clearance == pytest.approx(3.2 * 0.0254**3)
    assert found.chamber_area == pytest.approx(math.pi / 4 * 80e-3**2, rel=1e-3), "the largest opening"
    assert found.bank_angle == pytest.approx(math.radians(35))
    assert stated_in(
        "bore = 86\nstroke = 86\ncompression_ratio = 10.5\nchamber_opening = 1"
    ).chamber_area == (pytest.approx(math.pi / 4 * 60e-3**2, rel=1e-3))


def test_nothing_stated_is_empty():
    assert stated_in("").empty
    assert scenario_file.load("two-cylinder-head").part.after.swept is None


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("bore = 86", r"part\.after\.stroke: missing"),
        ("cam_radius = 50\ncrank_radius = 25", r"part\.after\.cam_distance: missing"),
        ("cam_radius = 50\ncrank_radius = 60\ncam_distance = 100", "the wheels would overlap"),
        ("thickness_least = 29", r"part\.after\.thickness: missing"),
        ("compression_ratio = 10", r"needs bore and stroke"),
        ("bore = 86\nstroke = 86\ncompression_ratio = 10\nclearance = 50", "not both"),
        ("clearance = 50\nchamber_opening = 3", "1 to 2, an entry of part.openings"),
        ("bank_angle = 120", "0 to 90"),
        ("thicknes = 30", "nearest is .part.after.thickness"),
    ],
)
def test_faults_of_the_keys(lines, says):
    with pytest.raises(ScenarioError, match=says):
        stated_in(lines)


def test_a_chamber_needs_an_opening():
    with pytest.raises(ScenarioError, match="no opening that could be the chamber"):
        stated_in("clearance = 50", openings="[]")
