"""What a cut does: bands, limits, and what is refused."""

from __future__ import annotations

import math

import pytest

from handlap.sim.after_cut import (
    AfterCut,
    cam_retard,
    clearance_after,
    compression_ratio,
    effects_of,
)
from handlap.sim.results import Band

UM = 1e-6
MEAN, MOST = Band(40 * UM, 50 * UM, 60 * UM), Band(80 * UM, 100 * UM, 120 * UM)


def effect(stated: AfterCut, name: str):
    return next(e for e in effects_of(stated, MEAN, MOST) if e.name == name)


def test_nothing_stated_nothing_said():
    assert AfterCut().empty
    assert effects_of(AfterCut(), MEAN, MOST) == ()


@pytest.mark.parametrize(("least", "met"), [(9.87e-3, True), (9.89e-3, None), (9.93e-3, False), (None, None)])
def test_thickness_against_its_minimum(least, met):
    found = effect(AfterCut(thickness=10e-3, thickness_least=least), "thickness")
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
    found = effect(AfterCut(**{key: 1e-3}), name)
    assert found.before - found.after.p50 == pytest.approx(MOST.p50)
    assert found.before - found.after.p05 == pytest.approx(MOST.p95)


def test_ratio_rises_and_volume_falls():
    stated = AfterCut(swept=500e-6, clearance=50e-6, chamber_area=5e-3)
    volume, ratio = effect(stated, "volume over the piston"), effect(stated, "compression ratio")
    assert volume.after.p95 < volume.before
    assert ratio.after.p05 > ratio.before == pytest.approx(11.0)


def test_the_crank_sees_twice_the_retard_of_the_cam():
    stated = AfterCut(cam_radius=50e-3, crank_radius=25e-3, cam_distance=0.3)
    cam, crank = effect(stated, "cam retard, at the cam"), effect(stated, "cam retard, at the crank")
    assert crank.after.p50 == pytest.approx(2 * cam.after.p50)
    # Equal wheels: no slant, so just depth over radius.
    assert cam_retard(1e-3, 50e-3, 50e-3, 0.3) == pytest.approx(0.02)


def test_the_flange_of_a_v_engine():
    stated = AfterCut(bank_angle=math.radians(30.0))
    assert effect(stated, "inlet flange, along its face").after.p50 == pytest.approx(0.5 * MEAN.p50)
    assert effect(stated, "inlet flange, along its normal").after.p50 == pytest.approx(0.75**0.5 * MEAN.p50)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="deeper than the chamber"):
        clearance_after(1e-6, 5e-3, 1e-3)
    with pytest.raises(ValueError, match="above 0"):
        compression_ratio(0.0, 1.0)
    with pytest.raises(ValueError, match="distance of their centres"):
        cam_retard(1e-3, 0.2, 0.2, 0.3)
