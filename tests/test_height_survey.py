"""Faces through tables of heights: exact where they should be, honest where they cannot."""

from __future__ import annotations

import numpy as np
import pytest

from handlap.sim.common.outline import Outline
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.face.height_survey import faces_through, fit_field, merge_repeats, table_reach
from handlap.sim.face.survey import survey_face
from handlap.sim.job.scenario import HeightTable, Part, Readings
from handlap.sim.materials.metals import METALS

LENGTH, WIDTH = 0.24, 0.14
OUTLINE = Outline.rectangular(LENGTH, WIDTH)


def raster(nu, nv, reach=1.0):
    uu, vv = np.meshgrid(np.linspace(-0.5, 0.5, nu) * LENGTH, np.linspace(-0.5, 0.5, nv) * WIDTH)
    return reach * np.column_stack([uu.ravel(), vv.ravel()])


def bowed(p):
    """Hollow of 80 µm along, twist of 30 µm, on a slope of 1 mm/m."""
    u, v = 2.0 * p[:, 0] / LENGTH, 2.0 * p[:, 1] / WIDTH
    return 80e-6 * u**2 + 15e-6 * u * v + 1e-3 * p[:, 0] + 2e-3


def table(points, heights, sd=0.0):
    return HeightTable(points[:, 0], points[:, 1], heights, sd, "invented")


def part(outline=OUTLINE, limit=50e-6):
    metal = next(iter(METALS.values()))
    return Part("test piece", outline, metal, 20.0, (0.0, 0.0), limit, "zone", None)


def test_exact_table_is_met_at_every_point():
    points = raster(7, 5)
    heights = 50e-6 * np.random.default_rng(0).standard_normal(len(points))
    for count in (1, 20):
        faces = faces_through(table(points, heights), OUTLINE, count=count, seed=0)
        # 1 nm: far under any height that can be read, far over rounding.
        assert np.abs(faces.at(points) - heights).max() < 1e-9


def test_plane_and_bow_come_back_between_the_points():
    points = raster(9, 6)
    where = np.random.default_rng(1).uniform(-1.0, 1.0, (300, 2)) * [LENGTH / 2, WIDTH / 2]
    best = faces_through(table(points, bowed(points)), OUTLINE, count=1, seed=0)
    assert np.abs(best.at(where)[0] - bowed(where)).max() < 0.5e-6
    many = faces_through(table(points, bowed(points)), OUTLINE, count=50, seed=0)
    assert np.abs(many.at(where).mean(axis=0) - bowed(where)).max() < 0.5e-6


def test_a_plane_stays_a_plane():
    points = raster(6, 4)
    heights = 3e-3 - 2e-3 * points[:, 0] + 1e-3 * points[:, 1]
    faces = faces_through(table(points, heights), OUTLINE, count=30, seed=0)
    where = raster(25, 15)
    assert faces.at(where) == pytest.approx(
        np.tile(3e-3 - 2e-3 * where[:, 0] + 1e-3 * where[:, 1], (30, 1)), abs=1e-8
    )


def test_noise_is_smoothed_and_the_spread_is_honest():
    """Over 40 noisy tables, 90 % bands at points between hold the truth 80–98 % of the time."""
    points = raster(9, 6)
    where = np.random.default_rng(2).uniform(-0.95, 0.95, (40, 2)) * [LENGTH / 2, WIDTH / 2]
    truth, held = bowed(where), []
    for seed in range(40):
        noisy = bowed(points) + 5e-6 * np.random.default_rng(seed).standard_normal(len(points))
        found = faces_through(table(points, noisy, 5e-6), OUTLINE, count=60, seed=seed).at(where)
        low, high = np.percentile(found, [5, 95], axis=0)
        held.append(np.mean((low <= truth) & (truth <= high)))
        assert np.sqrt(np.mean((found.mean(axis=0) - truth) ** 2)) < 5e-6
    assert 0.80 < np.mean(held) < 0.98


def test_spread_grows_away_from_the_points():
    points = np.array([p for p in raster(9, 6) if p[0] < 0.03])
    rough = 20e-6 * np.cos(60.0 * points[:, 0] + 40.0 * points[:, 1])
    faces = faces_through(table(points, rough, 1e-6), OUTLINE, count=100, seed=0)
    near, far = faces.at(np.array([[-0.05, 0.01], [0.11, 0.05]])).std(axis=0)
    assert far > 5.0 * near


def test_repeated_readings_are_averaged():
    u, v, h = [0.0, 0.1, 0.0, 0.1, 0.1], [0.0, 0.0, 0.1, 0.1, 0.1], [0.0, 1.0, 2.0, 3.0, 5.0]
    points, heights, repeats = merge_repeats(u, v, h)
    assert len(points) == 4
    assert sorted(heights) == [0.0, 1.0, 2.0, 4.0]
    assert sorted(repeats) == [1.0, 1.0, 1.0, 2.0]


def test_table_that_stops_short_of_the_edge_says_so_and_by_how_much():
    inner = raster(7, 5, reach=0.8)
    reach = table_reach(OUTLINE, inner)
    assert reach.beyond == pytest.approx(np.hypot(0.1 * LENGTH, 0.1 * WIDTH), rel=1e-6)
    assert reach.spacing == pytest.approx(0.8 * WIDTH / 4)
    ensemble = infer_faces(part(), Readings(table=table(inner, bowed(inner))), count=5)
    assert any("does not reach the edge" in note and "27.8 mm" in note for note in ensemble.notes)
    whole = raster(7, 5)
    assert table_reach(OUTLINE, whole).beyond == pytest.approx(0.0, abs=1e-12)
    assert infer_faces(part(), Readings(table=table(whole, bowed(whole))), count=5).notes == ()


def test_survey_of_a_table_gives_its_own_points_exactly_and_the_face_with_a_band():
    points = raster(9, 6)
    s = survey_face(part(), Readings(table=table(points, bowed(points))), count=60)
    assert s.table is not None and s.table.points == 54
    # Hollow 80 and twist 30 µm on points that hold ends, corners and (nearly) the middle.
    assert 80e-6 <= s.table.minimum_zone <= s.table.peak_to_valley * (1.0 + 1e-9)
    assert s.bands.flatness.p50 == pytest.approx(s.table.minimum_zone, rel=0.03)
    assert s.bands.bow_along.p50 == pytest.approx(-80e-6, rel=0.01)
    assert s.bands.twist.p50 == pytest.approx(30e-6, rel=0.02)
    assert s.shape.word == "hollow"
    assert s.next_line is None and s.contradictions == ()
    assert s.verdict.answer == "no"


def test_points_on_lines_only_are_enough():
    """Eight lines of an invented plate, as an autocollimator is run: sides, diagonals, middles."""
    t = np.linspace(-1.0, 1.0, 17)[:, None]
    a, b = LENGTH / 2, WIDTH / 2
    lines = (
        [t * [a, 0.0] + [0.0, side * b] for side in (-1.0, 0.0, 1.0)]
        + [t * [0.0, b] + [side * a, 0.0] for side in (-1.0, 0.0, 1.0)]
        + [t * [a, b], t * [a, -b]]
    )
    points = np.vstack(lines)
    s = survey_face(part(), Readings(table=table(points, bowed(points))), count=40)
    assert s.table is not None and s.table.points < len(points)
    assert any("averaged" in note for note in s.notes)
    assert s.bands.flatness.p50 == pytest.approx(s.table.minimum_zone, rel=0.03)


def test_thousands_of_points_are_no_trouble():
    points = raster(60, 40)
    heights = bowed(points) + 1e-6 * np.random.default_rng(0).standard_normal(len(points))
    faces = faces_through(table(points, heights, 1e-6), OUTLINE, count=20, seed=0)
    where = raster(11, 7, reach=0.97)
    assert np.abs(faces.at(where).mean(axis=0) - bowed(where)).max() < 2e-6


def test_same_seed_same_faces_whatever_points_are_asked_for():
    points = raster(6, 4)
    readings = Readings(table=table(points, bowed(points), 3e-6))
    first = infer_faces(part(), readings, count=8, seed=3).heights_at(raster(11, 9))
    again = infer_faces(part(), readings, count=8, seed=3).heights_at(raster(11, 9)[30:40])
    assert again == pytest.approx(first[:, 30:40], abs=1e-12)
    assert not np.allclose(infer_faces(part(), readings, count=8, seed=4).heights_at(raster(11, 9)), first)


def test_fitted_length_follows_the_roughness():
    points = raster(16, 10)
    rng = np.random.default_rng(5)
    smooth, _ = fit_field(points, bowed(points) + 1e-6 * rng.standard_normal(len(points)), 1e-6)
    rough, strength = fit_field(
        points, 40e-6 * np.cos(150.0 * points[:, 0]) * np.cos(150.0 * points[:, 1]), 1e-6
    )
    assert rough < smooth
    assert 10e-6 < strength < 400e-6
