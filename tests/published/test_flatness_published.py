"""Flatness against published, remembered and closed-form answers; each says which it is."""

import numpy as np
import pytest
from moody_1955 import (
    ARCSECONDS,
    PUBLISHED_FLATNESS_IN,
    distinct_stations_in,
    heights_uin,
    stations_in,
)

from handlap.sim.face.flatness import least_squares_peak_to_valley, minimum_zone, minimum_zone_widths

UIN, INCH = 25.4e-9, 25.4e-3
MOODY = "J. C. Moody, The Tool Engineer, October 1955: granite plate of 48 × 72 in"


# ---- J. C. Moody, The Tool Engineer, October 1955 (published)


def test_moody_intermediate_figures_of_the_reduction():
    """The reduction itself, unrounded, to the hundredth of a microinch [derived from Moody 1955]."""
    lines = heights_uin()
    assert lines["NW-SE"][[0, -1]] == pytest.approx([-69.81, -69.81], abs=0.005)
    assert lines["NE-SW"][[0, -1]] == pytest.approx([-102.78, -102.78], abs=0.005)
    assert lines["NE-NW"][8] == pytest.approx(21.33, abs=0.005)
    assert lines["SE-SW"][8] == pytest.approx(46.54, abs=0.005)
    assert lines["NE-SE"][5] == pytest.approx(-126.05, abs=0.005)
    assert lines["NW-SW"][5] == pytest.approx(-110.54, abs=0.005)
    assert lines["N-S"][5] == pytest.approx(0.00, abs=0.005)
    assert lines["E-W"][8] == pytest.approx(-13.57, abs=0.005)


def test_moody_published_flatness_of_its_own_datum(checked):
    """Published: all points between two planes 0.00018 in apart; two digits are printed."""
    _, _, height = stations_in()
    assert np.ptp(height) == pytest.approx(178.41, abs=0.005)
    checked(
        "distance of two planes about a plate on the datum of its own reduction",
        expected=1e6 * PUBLISHED_FLATNESS_IN,
        got=np.ptp(height),
        tolerance=5.0,
        unit="µin",
        kind="published",
        source=MOODY,
        about="flatness",
    )


@pytest.mark.parametrize(
    ("stations", "count", "peak_to_valley"), [(stations_in, 126, 175.37), (distinct_stations_in, 111, 175.70)]
)
def test_moody_minimum_zone_and_least_squares(checked, stations, count, peak_to_valley):
    """Exact minimum zone and peak-to-valley of the same heights [derived from Moody 1955]."""
    x, y, height = stations()
    assert x.size == count
    u, v, h = x * INCH, y * INCH, height * UIN
    zone = minimum_zone(u, v, h)
    for name, expected, got in (
        ("exact minimum zone", 163.67, zone.width / UIN),
        ("least-squares peak to valley", peak_to_valley, least_squares_peak_to_valley(u, v, h) / UIN),
    ):
        checked(
            f"{name} of the plate's {count} stations",
            expected=expected,
            got=got,
            tolerance=0.005,
            unit="µin",
            kind="independent implementation",
            source=f"worked out outside the program from the readings of {MOODY}",
            about="flatness",
        )
    assert zone.width == pytest.approx(4.157e-6, abs=0.0005e-6)
    assert (zone.high.size, zone.low.size, zone.criterion) == (2, 2, "crossing")


def test_moody_lines_have_the_stations_the_plate_allows():
    counts = {line: len(readings) for line, readings in ARCSECONDS.items()}
    assert counts == {
        "NE-SE": 10, "SE-SW": 16, "NE-NW": 16, "NW-SW": 10, "NW-SE": 20, "NE-SW": 20, "N-S": 10, "E-W": 16,
    }  # fmt: skip


# ---- textbook grids of 3 × 3 (from memory), µm


@pytest.mark.parametrize(
    ("grid", "zone", "peak_to_valley"),
    [
        ([[0, 4, 6], [-5, 20, -9], [-10, -3, 8]], 27.0, 32.33),
        ([[0, -5, -15], [20, 5, -10], [0, 10, 0]], 20.0, 25.0),
    ],
)
def test_textbook_grids_from_memory(checked, grid, zone, peak_to_valley):
    h = 1e-6 * np.array(grid, dtype=float).ravel()
    u, v = (x.ravel() for x in np.meshgrid([0.0, 0.1, 0.2], [0.2, 0.1, 0.0]))
    for name, expected, got, tolerance in (
        ("minimum zone", zone, 1e6 * minimum_zone(u, v, h).width, 1e-9),
        ("least-squares peak to valley", peak_to_valley, 1e6 * least_squares_peak_to_valley(u, v, h), 0.005),
    ):
        checked(
            f"{name} of a grid of 3 × 3 heights, {', '.join(str(z) for z in grid[0])} in its first row",
            expected=expected,
            got=got,
            tolerance=tolerance,
            unit="µm",
            kind="from memory",
            source="examples of textbooks on form measurement",
            about="flatness",
        )


# ---- closed forms


def test_twist_closed_form(checked):
    """z = 1e-6·(x − 150)(y − 60) mm on 300 × 120 mm: minimum zone = least squares = 18 µm."""
    x, y = (p.ravel() for p in np.meshgrid(np.linspace(0, 300, 31), np.linspace(0, 120, 13)))
    h = 1e-6 * (x - 150) * (y - 60) * 1e-3
    zone = minimum_zone(x * 1e-3, y * 1e-3, h)
    checked(
        "minimum zone of a twist z = 1e-6·(x − 150)(y − 60) on 300 × 120 mm",
        expected=18.0,
        got=1e6 * zone.width,
        tolerance=1e-7,
        unit="µm",
        kind="closed form",
        source="geometry of a twist and a bow",
        about="flatness",
    )
    assert zone.criterion == "crossing"
    assert least_squares_peak_to_valley(x * 1e-3, y * 1e-3, h) == pytest.approx(18e-6, rel=1e-9)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_parabolic_bow_closed_form(checked, sign):
    """A parabolic bow of 50 µm over the length has a minimum zone of 50 µm."""
    x, y = (p.ravel() for p in np.meshgrid(np.linspace(-0.2, 0.2, 41), np.linspace(-0.06, 0.06, 13)))
    h = sign * 50e-6 * (x / 0.2) ** 2
    checked(
        f"minimum zone of a parabolic {'hollow' if sign > 0 else 'crown'} of 50 µm",
        expected=50.0,
        got=1e6 * minimum_zone_widths(x, y, h[np.newaxis])[0],
        tolerance=1e-7,
        unit="µm",
        kind="closed form",
        source="geometry of a twist and a bow",
        about="flatness",
    )


# ---- designed by hand so that the contacts are known (closed form); x, y, z in mm


TRIANGLE = [
    (0, 0, 0), (300, 0, 0.06), (150, 120, 0.018), (150, 40, 0.056), (60, 15, 0.0225), (240, 20, 0.064),
    (150, 90, 0.046), (100, 50, 0.022),
]  # fmt: skip
CROSSING = [
    (0, 0, 0.02), (300, 120, 0.011), (0, 120, 0.036), (300, 0, -0.045), (150, 60, 0.0065),
    (75, 90, 0.01975), (225, 30, -0.01875), (150, 0, -0.0095),
]  # fmt: skip


@pytest.mark.parametrize(
    ("points", "zone", "peak_to_valley", "criterion"),
    [(TRIANGLE, 30.0, 32.95, "triangle, three low"), (CROSSING, 20.0, 21.74, "crossing")],
)
def test_designed_criteria(checked, points, zone, peak_to_valley, criterion):
    u, v, h = 1e-3 * np.array(points, dtype=float).T
    found = minimum_zone(u, v, h)
    checked(
        f"minimum zone of eight points whose contacts are known: {criterion}",
        expected=zone,
        got=1e6 * found.width,
        tolerance=1e-7,
        unit="µm",
        kind="closed form",
        source="points placed so that the planes that hold them are known",
        about="flatness",
    )
    assert found.criterion == criterion
    assert set(found.contacts) == {0, 1, 2, 3}
    assert 1e6 * least_squares_peak_to_valley(u, v, h) == pytest.approx(peak_to_valley, abs=0.005)


def test_not_the_thinnest_slab_at_any_angle():
    """A narrow tall-standing face: the thinnest slab stands upright, flatness does not."""
    u, v = (p.ravel() for p in np.meshgrid(np.linspace(0, 0.3, 7), [0.0, 0.001]))
    h = 0.004 * np.array([0, 1, 0, 1, 0, 1, 0] * 2, dtype=float)
    thinnest_at_any_angle = 0.001  # between the two sides of the strip
    assert minimum_zone(u, v, h).width == pytest.approx(0.004, rel=1e-9) != thinnest_at_any_angle
