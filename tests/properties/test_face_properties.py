"""What holds of every face: its flatness, the gaps a straightedge shows, and the readings taken of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.face import survey_kernels as kernels
from handlap.sim.face.flatness import (
    least_squares_peak_to_valley,
    minimum_zone,
    minimum_zone_widths,
)
from handlap.sim.face.leaf_readings import read_face
from handlap.sim.face.straightedge import contact, gaps, greatest_gap, sample_lines, standard_lines
from handlap.sim.face.survey import find_contradictions
from handlap.sim.face.survey_sampler import gather, outlier_chance
from handlap.sim.job.scenario import Readings

LENGTH, WIDTH = 0.24, 0.10
seeds = st.integers(0, 2**32 - 1)
many = settings(max_examples=100)
some = settings(max_examples=40)


def scattered(seed: int, n: int) -> tuple[Array, Array, Array]:
    """Points of a warped face with rough spots; some on a raster, where ties are common [m]."""
    rng = np.random.default_rng(seed)
    u, v = rng.uniform(-LENGTH / 2, LENGTH / 2, n), rng.uniform(-WIDTH / 2, WIDTH / 2, n)
    if rng.random() < 0.3:
        u, v = np.round(u, 2), np.round(v, 2)
    a, b, c, d = rng.normal(size=4) * [30e-6, 10e-6, 20e-6, 5e-6]
    h = a * (2 * u / LENGTH) ** 2 + b * (2 * v / WIDTH) ** 2 + c * u * v / (LENGTH * WIDTH)
    return u, v, h + d * rng.normal(size=n) + rng.normal() * 1e-3 * u


def zone(u: Array, v: Array, h: Array) -> float:
    return minimum_zone(u, v, h).width


# ---- flatness


@many
@given(seeds, st.integers(5, 80), st.floats(1e-3, 1e3))
def test_zone_scales_with_the_heights(seed, n, factor):
    u, v, h = scattered(seed, n)
    assert zone(u, v, factor * h) == pytest.approx(factor * zone(u, v, h), rel=1e-9)


@many
@given(seeds, st.integers(5, 80), st.floats(0.0, 6.3), st.floats(0.01, 100.0), st.floats(-5.0, 5.0))
def test_zone_does_not_know_where_u_and_v_point(seed, n, angle, scale, shift):
    """Turning, moving and stretching the plane of the face, shear included, changes no flatness."""
    u, v, h = scattered(seed, n)
    c, s = np.cos(angle), np.sin(angle)
    x, y = scale * (c * u - s * v) + shift, scale * 0.3 * (s * u + c * v) + 0.1 * scale * u - shift
    assert zone(x, y, h) == pytest.approx(zone(u, v, h), rel=1e-7)


@many
@given(seeds, st.integers(5, 60), st.integers(1, 20))
def test_more_points_are_never_flatter(seed, n, more):
    """Nor less than the flattest of the parts; a point that is there already changes nothing."""
    u, v, h = scattered(seed, n + more)
    whole, part = zone(u, v, h), zone(u[:n], v[:n], h[:n])
    assert part <= whole * (1 + 1e-9) + 1e-15
    again = np.r_[0 : n + more, 0:more]
    assert zone(u[again], v[again], h[again]) == pytest.approx(whole, rel=1e-9, abs=1e-15)


@many
@given(seeds, st.integers(5, 60))
def test_zone_against_least_squares(seed, n):
    """At most the peak to valley about the least-squares plane; and no less than the errors it leaves."""
    u, v, h = scattered(seed, n)
    width = zone(u, v, h)
    assert width <= least_squares_peak_to_valley(u, v, h) * (1 + 1e-9) + 1e-15
    design = np.column_stack([np.ones(n), u, v])
    left = h - design @ np.linalg.lstsq(design, h, rcond=None)[0]
    # The best plane's errors, at most half the zone each, cannot have a smaller root mean square.
    assert np.sqrt(np.mean(left**2)) <= 0.5 * width * (1 + 1e-9) + 1e-15


@some
@given(st.lists(seeds, min_size=1, max_size=6), st.integers(5, 60))
def test_many_faces_at_once_are_each_alone(many_seeds, n):
    u, v, _ = scattered(many_seeds[0], n)
    faces = np.array([scattered(seed, n)[2] for seed in many_seeds])
    alone = [zone(u, v, face) for face in faces]
    np.testing.assert_allclose(minimum_zone_widths(u, v, faces), alone, rtol=1e-9, atol=1e-15)


# ---- straightedge


def profile(seed: int, n: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    s = np.sort(rng.uniform(0.0, LENGTH, n))
    s[0], s[-1] = 0.0, LENGTH
    assume(np.diff(s).min() > 1e-6)
    t = 2 * s / LENGTH - 1
    return s, rng.normal() * 50e-6 * t**2 + rng.normal() * 20e-6 * t**3 + 5e-6 * rng.normal(size=n)


def line_zone(s: Array, z: Array) -> float:
    """Least distance of two parallel lines that hold a profile, by its own search over pairs of points."""
    i, j = np.triu_indices(s.size, 1)
    slope = (z[j] - z[i]) / (s[j] - s[i])
    return float(np.ptp(z - slope[:, None] * s, axis=1).min())


@many
@given(seeds, st.integers(4, 40))
def test_gaps_stay_within_the_flatness_of_the_line(seed, n):
    """At rest no gap between the contacts exceeds the zone of the profile; held level none exceeds two."""
    s, z = profile(seed, n)
    width = line_zone(s, z)
    gap = gaps(s, z, "rest", LENGTH / 2)
    first, last = contact(s, z, "rest", LENGTH / 2)
    assert gap.min() >= -1e-15
    assert gap[first : last + 1].max() <= width * (1 + 1e-9) + 1e-15
    level = gaps(s, z, "level", LENGTH / 2)
    assert level.min() == pytest.approx(0.0, abs=1e-15)
    assert level.max() <= 2 * width * (1 + 1e-9) + 1e-15


@many
@given(seeds, st.integers(4, 40), st.floats(1e-2, 1e2))
def test_gaps_scale_and_read_the_same_from_the_other_end(seed, n, factor):
    s, z = profile(seed, n)
    other = {"rest": "rest", "level": "level", "tipped start": "tipped end", "tipped end": "tipped start"}
    for held, back in other.items():
        gap = gaps(s, z, held, LENGTH / 2)  # type: ignore[arg-type]
        np.testing.assert_allclose(gaps(s, factor * z, held, LENGTH / 2), factor * gap, rtol=1e-9, atol=1e-14)  # type: ignore[arg-type]
        back_gap = gaps(LENGTH - s[::-1], z[::-1], back, LENGTH / 2)[::-1]  # type: ignore[arg-type]
        np.testing.assert_allclose(back_gap, gap, rtol=1e-9, atol=1e-14)


OUTLINES = (
    Outline.rectangular(LENGTH, WIDTH),
    Outline.rectangular(LENGTH, WIDTH, (circle(-0.05, 0.0, 0.06), circle(0.06, 0.0, 0.06))),
    Outline(circle(0.0, 0.0, 0.12)),
)


def smooth(seed: int):
    """A smooth face without any of the fitted shapes: cosines across it."""
    rng = np.random.default_rng(seed)
    waves, phase = rng.normal(size=(3, 2)) * [12.0, 25.0], rng.uniform(0, 6.3, 3)
    size = np.exp(rng.uniform(np.log(5e-6), np.log(150e-6)))
    heights = rng.normal(size=3)
    return lambda p: size * np.cos(p @ waves.T + phase) @ heights


@some
@given(seeds, st.sampled_from(OUTLINES))
def test_a_straightedge_never_reads_more_than_three_times_the_flatness(seed, outline):
    """On all lines of a face.  Held level twice; at rest its feet stand a quarter of its length apart at
    least, one on each side of its middle, so past them it climbs by twice the zone at most."""
    lines = sample_lines(outline, standard_lines(outline))
    h = smooth(seed)(lines.points)
    assert greatest_gap(lines, h)[0] <= 3.0 * zone(lines.points[:, 0], lines.points[:, 1], h) * (1 + 1e-9)


# ---- readings that are true


LEAVES = np.array([15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300, 400, 500, 700]) * 1e-6


def truly_read(seed: int, outline: Outline, every: int):
    """Readings of a known face without any error of the feel, as arrays, and its heights on the lines."""
    face = smooth(seed)
    lines = read_face(outline, face, standard_lines(outline), LEAVES[::every])
    evidence = gather(outline, lines)
    return lines, evidence, face(evidence.lines.points)


@some
@given(seeds, st.sampled_from(OUTLINES), st.integers(1, 4))
def test_the_truth_lies_in_every_interval(seed, outline, every):
    """Feeler and survey agree about stations, contacts and ways of holding: no true reading is cut off."""
    _, evidence, truth = truly_read(seed, outline, every)
    gap = evidence.gaps(truth[None])[0]
    assert evidence.count > 10 and not evidence.lost
    # Stations over openings are among the points of one and not of the other, which moves those between.
    slack = 1e-6 if outline.openings else 1e-12
    assert np.all((gap >= evidence.lo - slack) & (gap <= evidence.hi + slack))


@some
@given(seeds, st.sampled_from(OUTLINES), st.integers(1, 4))
def test_a_face_that_fits_every_interval_is_never_called_contradicted(seed, outline, every):
    """Where the draws are faces within all intervals no reading is named, and all are likely."""
    lines, evidence, truth = truly_read(seed, outline, every)
    assert find_contradictions(Readings(lines), evidence, truth[None]) == ()
    gap = evidence.gaps(truth[None])[0]
    chances = [
        kernels.station_chance(g, lo, hi, evidence.feel)
        for g, lo, hi in zip(gap, evidence.lo, evidence.hi, strict=True)
    ]
    # At the edge of an interval that is wider than the feel half of it is left, less what lies beyond.
    narrowest = np.diff(np.r_[0.0, LEAVES[::every]]).min()
    assert min(chances) > 0.4 * min(1.0, narrowest / (3.0 * evidence.feel))


@some
@given(seeds, st.sampled_from(OUTLINES), st.floats(150e-6, 500e-6), st.data())
def test_one_slip_is_named_if_the_faces_are_the_truth(seed, outline, slip, data):
    """The test above could fail: a reading a good deal off is named, and it alone."""
    _, evidence, truth = truly_read(seed, outline, 1)
    k = data.draw(st.integers(0, evidence.count - 1))
    gap = evidence.gaps(truth[None])
    evidence.lo[k], evidence.hi[k] = gap[0, k] + slip, gap[0, k] + slip + 30e-6
    named = outlier_chance(evidence, gap) > 0.5
    assert named.tolist() == [i == k for i in range(evidence.count)]
