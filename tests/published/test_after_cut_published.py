"""What a cut does to an engine, against a printed table and closed forms.

The kind of each figure stands beside it.
"""

from __future__ import annotations

import math

import pytest

from handlap.sim.bench.after_cut import cam_retard, clearance_after, compression_ratio, flange_shift

# Published by an owners' club, author unknown (seen as a table of compression ratios, cubic inches): one
# cylinder sweeps 44.2, its piston's crown intrudes 2.86 into the chamber, the gasket adds 0.92.
SWEPT, INTRUSION, GASKET = 44.2, 2.86, 0.92
CLUB = "table of an owners' club, author unknown"


@pytest.mark.parametrize(("head", "ratio"), [(17.9, 3.77), (15.6, 4.24)])
def test_printed_compression_ratios(checked, head, ratio):
    """Published; printed to two decimals, volumes to three digits: the ratio moves by up to 0.01."""
    checked(
        f"compression ratio with {head} in³ in the head",
        expected=ratio,
        got=compression_ratio(SWEPT, head - INTRUSION + GASKET),
        tolerance=0.01,
        kind="published",
        source=CLUB,
        about="engine and pump",
    )


def test_the_printed_cut_of_an_eighth_of_an_inch():
    """Published: 1/8 in off took the head from 17.9 to 15.6 in³, so its opening measures 18.4 in²."""
    area = (17.9 - 15.6) / 0.125
    left = clearance_after(17.9 - INTRUSION + GASKET, area, 0.125)
    assert compression_ratio(SWEPT, left) == pytest.approx(4.24, abs=0.01)


@pytest.mark.parametrize(("depth_mm", "ratio"), [(0.0, 10.5), (0.10, 10.606), (0.25, 10.770)])
def test_a_full_bore_chamber(checked, depth_mm, ratio):
    """Closed form: bore 86 mm, swept 499.5 cm³, ratio 10.5 before; printed to three decimals."""
    bore, swept = 86e-3, 499.5e-6
    left = clearance_after(swept / 9.5, math.pi / 4.0 * bore**2, 1e-3 * depth_mm)
    checked(
        f"compression ratio after {depth_mm:g} mm off a full-bore chamber, 10.5 before",
        expected=ratio,
        got=compression_ratio(swept, left),
        tolerance=0.0006,
        kind="closed form",
        source="CR = (Vs + Vc)/Vc",
        about="engine and pump",
    )


def test_cam_retard_of_a_deep_cut(checked):
    """Closed form: R 54.5 mm, r = R/2, centres 300 mm, 2.0 mm off: 2.094° at the cam."""
    checked(
        "retard of an overhead cam after 2 mm",
        expected=2.094,
        got=math.degrees(cam_retard(2.0e-3, 54.5e-3, 27.25e-3, 0.3)),
        tolerance=0.0005,
        unit="°",
        kind="closed form",
        source="d·cos α/R, sin α = (R − r)/C",
        about="engine and pump",
    )


def test_cam_retard_from_the_length_of_the_run():
    """Closed form checked by another route: the tangent between the wheels, √(C² − (R − r)²)."""
    cam, crank, centres, depth = 54.5e-3, 27.25e-3, 0.3, 0.2e-3

    def run(distance):
        return math.sqrt(distance**2 - (cam - crank) ** 2)

    # To first order: the wrap on the cam changes too, but turns the wheel by second order only.
    turned = (run(centres + depth / 2) - run(centres - depth / 2)) / cam
    wrap = math.asin((cam - crank) / (centres - depth / 2)) - math.asin((cam - crank) / (centres + depth / 2))
    # Length of run + wrap: dT/dC = C/√(C²−(R−r)²), less the (R−r)·dα that winds on: cos α in all.
    total = turned - wrap * (cam - crank) / cam
    assert cam_retard(depth, cam, crank, centres) == pytest.approx(total, rel=1e-4)


@pytest.mark.parametrize("degrees", [0.0, 35.0, 90.0])
def test_the_flange_of_a_v_engine_moves_by_the_cut(degrees):
    """Closed form: d·cos β and d·sin β, together d."""
    normal, along = flange_shift(0.3e-3, math.radians(degrees))
    assert math.hypot(normal, along) == pytest.approx(0.3e-3)
    assert normal == pytest.approx(0.3e-3 * math.cos(math.radians(degrees)), abs=1e-15)
