"""The dye read from photos that were rendered with a known dye, a known camera and known light."""

from __future__ import annotations

import itertools
import struct
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from photo_truth import (
    DYES,
    FACE,
    METALS,
    OTHER,
    Shot,
    camera,
    corners,
    dyed_at,
    photo,
    pixels_of,
)

from handlap.sim.bench import photo_file
from handlap.sim.bench.dye_photo import DyePhoto, NotThisFace, read_dye_photo
from handlap.sim.bench.photo_dye import GONE_BELOW, OneColour, decoded
from handlap.sim.bench.photo_file import read_photo
from handlap.sim.bench.photo_view import CORNERS, NoView, PhotoMark, corner_places, find_view, homography
from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.outline import Outline, circle, polygon_moments

RIGHT, TOLD, REGISTERED = 0.95, 0.70, 0.015
TAP = 0.006
"""What taps are off by, standard deviation each way, over the length."""


def marks_of(shot: Shot, tap: float = TAP) -> list[PhotoMark]:
    """The corners as somebody taps them."""
    places = corners(shot.outline)
    pixels = pixels_of(camera(shot), places)
    length = float(np.hypot(*(pixels[1] - pixels[0])))
    pixels = pixels + tap * length * np.random.default_rng([shot.seed, 15]).standard_normal((4, 2))
    return [PhotoMark(name, place, pixel) for name, place, pixel in zip(CORNERS, places, pixels, strict=True)]


def taken(shot: Shot, folder: Path, **more) -> photo_file.Photo:
    file = folder / "face.jpg"
    file.write_bytes(photo(shot, **more))
    return read_photo(file)


def read(shot: Shot, folder: Path, **more) -> DyePhoto:
    return read_dye_photo(taken(shot, folder, **more), shot.outline, marks_of(shot))


def true_cells(shot: Shot, shape: tuple[int, int]) -> np.ndarray:
    """Share of each cell (rows, columns) that is dyed in truth, from twelve by twelve points of it."""
    rows, columns = shape
    u = shot.outline.length * ((np.arange(12 * columns) + 0.5) / (12 * columns) - 0.5)
    v = shot.outline.width * (0.5 - (np.arange(12 * rows) + 0.5) / (12 * rows))
    at_u, at_v = np.meshgrid(u, v)
    metal = shot.outline.contains(np.column_stack([at_u.ravel(), at_v.ravel()])).reshape(at_u.shape)
    dyed = (dyed_at(shot, at_u, at_v) > GONE_BELOW) & metal

    def binned(values):
        return values.reshape(rows, 12, columns, 12).sum(axis=(1, 3))

    with np.errstate(invalid="ignore"):
        return binned(dyed.astype(float)) / binned(metal.astype(float))


def figures(shot: Shot, seen: DyePhoto) -> tuple[float, float, float]:
    """Share of cells right where it is told, share told, and how far off corners are over the length."""
    truth = true_cells(shot, seen.chance.shape)
    told = (seen.dyed | seen.bare) & np.isfinite(truth)
    right = np.where(seen.dyed, truth > 0.5, truth < 0.5)[told]
    weight = seen.metal[told]
    back = np.linalg.inv(camera(shot))
    off = pixels_of(back, seen.view.pixels(corners(shot.outline))) - corners(shot.outline)
    return (
        float((right * weight).sum() / weight.sum()),
        seen.told,
        float(np.hypot(*off.T).max()) / shot.outline.length,
    )


FEW = (
    Shot("bright", "blue", tilt=35, towards=70, roll=20, gradient=2.5, glare=1.4, fingers=2, seed=101),
    Shot("grey", "black", tilt=25, towards=200, gradient=2.0, glare=0.0, fingers=2, noise=5, seed=102),
    Shot("brown", "red", tilt=35, towards=-40, roll=170, gradient=2.5, quality=55, seed=103),
)


@pytest.mark.parametrize("shot", FEW, ids=lambda s: f"{s.dye} on {s.metal}")
def test_dye_on_metal_is_told_and_told_right(checked, shot, tmp_path):
    right, told, off = figures(shot, read(shot, tmp_path))
    about = f"{shot.dye} dye on {shot.metal} metal, seen from {shot.tilt:.0f}° off"
    common = {"unit": "", "kind": "known truth", "source": "photos rendered from a known dye", "about": "log"}
    checked(
        f"share of cells told right, {about}",
        expected=RIGHT,
        got=right,
        tolerance=0.0,
        sense="at least",
        **common,
    )
    checked(
        f"share of the face told, {about}", expected=TOLD, got=told, tolerance=0.0, sense="at least", **common
    )
    checked(
        f"corners off over the length, {about}",
        expected=REGISTERED,
        got=off,
        tolerance=0.0,
        sense="at most",
        **common,
    )


FACTORS = tuple(
    itertools.product(METALS, DYES, (0.0, 20.0, 35.0), (1.3, 2.5), (0.0, 1.4), ((0, 2.0, 85), (3, 5.0, 55)))
)
"""Metal, dye, tilt, gradient of light, glare, and (fingers, noise, quality of JPEG)."""


def shot_of(number: int) -> Shot:
    metal, dye, tilt, gradient, glare, (fingers, noise, quality) = FACTORS[number]
    return Shot(
        metal, dye, tilt, towards=47.0 * number, roll=31.0 * number, gradient=gradient, glare=glare,
        noise=noise, quality=quality, fingers=fingers, seed=200 + number,
    )  # fmt: skip


@pytest.mark.slow
def test_all_combinations_are_told_right(checked, tmp_path):
    """Every metal with every dye, from three angles, in two lights, with glare or not, clean and hard."""
    found = np.array([figures(shot_of(k), read(shot_of(k), tmp_path)) for k in range(len(FACTORS))])
    common = {"unit": "", "kind": "known truth", "about": "log"}
    source = f"{len(FACTORS)} photos rendered from a known dye"
    for name, share, sense, row in (
        ("right where it is told", RIGHT, "at least", found[:, 0]),
        ("told", TOLD, "at least", found[:, 1]),
    ):
        checked(
            f"mean share of cells {name}, all combinations", expected=share, got=float(row.mean()),
            tolerance=0.0, sense=sense, source=source, **common,
        )  # fmt: skip
    for name, share, got in (
        ("right in at least 95 % of their cells", 0.97, float(np.mean(found[:, 0] >= RIGHT))),
        ("told on at least 70 %", 0.97, float(np.mean(found[:, 1] >= TOLD))),
        ("registered within 1.5 % of the length", 0.97, float(np.mean(found[:, 2] <= REGISTERED))),
    ):
        checked(
            f"share of photos {name}, all combinations", expected=share, got=got, tolerance=0.0,
            sense="at least", source=source, **common,
        )  # fmt: skip


def test_zones_hold_the_true_shares_within_their_errors(tmp_path):
    shot = FEW[0]
    seen = read(shot, tmp_path)
    share, error = seen.zones(6, 10)
    truth = true_cells(shot, (6, 10))
    told = np.isfinite(share) & np.isfinite(truth)
    assert told.mean() > 0.7
    off = np.abs(share - truth)[told] / error[told]
    assert np.mean(off < 1.645) >= 0.85
    assert np.sqrt(np.mean((share - truth)[told] ** 2)) < 0.12


# ---- what is refused


def test_another_part_of_the_same_size_is_refused(tmp_path):
    shot = Shot(outline=OTHER, seed=3)
    with pytest.raises(NotThisFace, match="another part"):
        read_dye_photo(taken(shot, tmp_path), FACE, marks_of(shot))


@pytest.mark.parametrize(("corner", "by"), [(0, (0.06, -0.05)), (2, (-0.1, 0.04))])
def test_a_wrong_corner_is_refused(tmp_path, corner, by):
    shot = Shot(seed=4, tilt=25)
    marks = marks_of(shot, 0.0)
    length = float(np.hypot(*(marks[1].pixel - marks[0].pixel)))
    marks[corner] = replace(marks[corner], pixel=marks[corner].pixel + length * np.array(by))
    with pytest.raises((NotThisFace, NoView), match=f"{marks[corner].name} mark|no plausible view"):
        read_dye_photo(taken(shot, tmp_path), FACE, marks)


def test_a_face_given_the_wrong_way_round_is_told_so(tmp_path):
    """An opening more at one end tells it."""
    face = Outline.rectangular(0.24, 0.14, (circle(-0.06, 0.0, 0.05), circle(0.09, 0.04, 0.015)))
    shot = Shot(outline=face, seed=5)
    marks = marks_of(shot, 0.0)
    turned = [replace(mark, pixel=marks[(k + 2) % 4].pixel) for k, mark in enumerate(marks)]
    picture = taken(shot, tmp_path)
    with pytest.raises(NotThisFace, match="other way round"):
        read_dye_photo(picture, face, turned)
    assert not read_dye_photo(picture, face, marks).turnable


SIZE = (1000, 750)
STRAIGHT = np.array([[260.0, 235.0], [740.0, 235.0], [740.0, 515.0], [260.0, 515.0]])


def view_of(pixels, places=None):
    places = corners(FACE) if places is None else places
    marks = [
        PhotoMark(n, p, np.array(q, dtype=float)) for n, p, q in zip(CORNERS, places, pixels, strict=False)
    ]
    return find_view(FACE, marks, SIZE)


def test_a_view_from_straight_above_is_plain():
    view = view_of(STRAIGHT)
    assert view.tilt < 0.02 and view.skew < 0.01
    np.testing.assert_allclose(view.pixels(np.array([[0.0, 0.0]])), [[500.0, 375.0]], atol=1e-6)
    np.testing.assert_allclose(view.places(STRAIGHT), corners(FACE), atol=1e-9)


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ([0, 1, 2], "four or more"),
        ([1, 0, 3, 2], "cross over, run round the other way"),
        ([0, 2, 1, 3], "cross over"),
        ([1, 2, 3, 0], "no plausible view"),
        ([0, 0, 2, 3], "one line|one place"),
    ],
)
def test_corners_in_another_order_are_refused(order, words):
    with pytest.raises(NoView, match=words):
        view_of(STRAIGHT[order])


def test_corners_outside_the_picture_are_refused():
    with pytest.raises(NoView, match=r"far right at 1200,235 is outside the picture of 1000 × 750"):
        view_of([STRAIGHT[0], (1200, 235), STRAIGHT[2], STRAIGHT[3]])


def test_a_rim_without_corners_wants_openings():
    round_ = Outline(
        circle(0.0, 0.0, 0.1), tuple(circle(0.035 * i, 0.03 * j, 0.01) for i in (-1, 1) for j in (-1, 1))
    )
    with pytest.raises(NoView, match="four openings"):
        corner_places(round_)


def test_middles_of_openings_serve_in_place_of_corners():
    """What is seen of a large bore slantwise has its middle off that of the bore; it is allowed for."""
    shot = Shot(tilt=35, towards=10, distance=0.35)
    matrix = camera(shot)
    marks = []
    for number in (0, 1, 2, 3, 5):
        ring = FACE.openings[number]
        area, u, v = polygon_moments(ring)
        seen = pixels_of(matrix, ring)
        x, y = seen.T
        cross = x * np.roll(y, -1) - np.roll(x, -1) * y
        middle = [((c + np.roll(c, -1)) * cross).sum() / (3.0 * cross.sum()) for c in (x, y)]
        marks.append(PhotoMark(f"opening {number + 1}", np.array([u, v]) / area, np.array(middle), ring))
    # Two bores and three holes at the corners.
    view = find_view(FACE, marks, (shot.width, shot.height))
    off = pixels_of(np.linalg.inv(matrix), view.pixels(corners(FACE))) - corners(FACE)
    assert np.hypot(*off.T).max() < 0.002 * FACE.length


def test_a_homography_maps_four_points_exactly():
    places, pixels = corners(FACE), np.array([[100.0, 90.0], [800.0, 130.0], [700.0, 600.0], [180.0, 520.0]])
    found = pixels_of(homography(places, pixels), places)
    np.testing.assert_allclose(found, pixels, atol=1e-6)


def test_light_is_decoded_as_the_standard_has_it():
    """IEC 61966-2-1: coded 0.5 is 0.2140 of the light; linear below 0.04045."""
    assert decoded(np.array([0.5, 0.04045, 1.0])) == pytest.approx([0.21404, 0.0031308, 1.0], abs=1e-5)


# ---- one colour only


def test_a_face_of_one_colour_is_not_told_unless_a_spot_is_named(tmp_path):
    shot = Shot("grey", "blue", seed=6)
    picture, marks = taken(shot, tmp_path, dye=np.array(1.0)), marks_of(shot, 0.0)
    with pytest.raises(OneColour, match="--spot-dyed"):
        read_dye_photo(picture, FACE, marks)
    spot = pixels_of(camera(shot), np.array([[0.09, 0.0]]))
    seen = read_dye_photo(picture, FACE, marks, dyed=spot)
    assert seen.left > 0.9 and seen.told > 0.8 and not seen.film.apart
    seen = read_dye_photo(picture, FACE, marks, bare=spot)
    assert seen.left < 0.1
    with pytest.raises(OneColour, match="cannot be told from one another"):
        read_dye_photo(picture, FACE, marks, bare=spot, dyed=spot)


# ---- files


def png_head(width: int, height: int) -> bytes:
    """A PNG that says it is so large, with next to nothing in it (ISO/IEC 15948)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


SMALL = Shot(width=320, height=240, distance=0.5)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "an empty file"),
        (b"not a picture at all, but a page of text\n" * 20, "no picture that can be read"),
        (b"%PDF-1.4\n" + b"x" * 500, "no picture that can be read"),
        (b"GIF89a" + b"\0" * 500, "no picture that can be read"),
        (png_head(40_000, 40_000), "pixels"),
        (png_head(9_000, 9_000), "9000 × 9000 pixels"),
        (png_head(100, 4_000), "at least 200 pixels"),
        (png_head(4_000, 3_000), "torn or damaged"),
        (b"\x89PNG\r\n\x1a\n", "torn|no picture"),
        (b"\xff\xd8\xff\xe0", "torn|no picture"),
    ],
)
def test_what_is_no_photo_is_refused_in_words(tmp_path, data, words):
    file = tmp_path / "x.jpg"
    file.write_bytes(data)
    with pytest.raises(ScenarioError, match=words):
        read_photo(file)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_torn_photos_are_refused_wherever_they_are_torn(tmp_path, kind):
    whole = photo(SMALL, kind=kind)
    file = tmp_path / "x"
    for share in (0.001, 0.01, 0.03, 0.1, 0.3, 0.6, 0.95):
        file.write_bytes(whole[: int(share * len(whole))])
        with pytest.raises(ScenarioError, match=r"torn or damaged|no picture|an empty file"):
            read_photo(file)
    file.write_bytes(whole)
    assert read_photo(file).size == (320, 240)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_flipped_bytes_are_read_or_refused_and_nothing_else(tmp_path, kind):
    rng = np.random.default_rng(7)
    whole = np.frombuffer(photo(SMALL, kind=kind), dtype=np.uint8)
    file = tmp_path / "x"
    for _ in range(40):
        damaged = whole.copy()
        at = rng.integers(0, min(whole.size, 4000), 4)
        damaged[at] = rng.integers(0, 256, 4)
        file.write_bytes(damaged.tobytes())
        try:
            read_photo(file)
        except ScenarioError as refused:
            assert str(refused).startswith("x: ")


def test_a_file_too_large_and_no_file_are_refused(tmp_path, monkeypatch):
    file = tmp_path / "x.jpg"
    file.write_bytes(photo(SMALL))
    monkeypatch.setattr(photo_file, "LARGEST", 1000)
    with pytest.raises(ScenarioError, match="at most 0 MB"):
        read_photo(file)
    with pytest.raises(ScenarioError, match="no such file"):
        read_photo(tmp_path / "absent.jpg")
    with pytest.raises(ScenarioError, match="no ordinary file"):
        read_photo(tmp_path)


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_picture_is_turned_upright_as_the_camera_noted(tmp_path, turn):
    """The library's own turning is what it is held against."""
    from PIL import Image, ImageOps

    exif = Image.Exif()
    exif[0x0112] = turn
    file = tmp_path / "x.jpg"
    file.write_bytes(photo(SMALL, exif=exif))
    found = read_photo(file)
    with Image.open(file) as picture:
        np.testing.assert_array_equal(found.pixels, np.asarray(ImageOps.exif_transpose(picture)))
    assert bool(found.turned) == (turn != 1)


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "I;16"])
def test_other_modes_of_colour_are_taken(tmp_path, mode):
    from PIL import Image

    ramp = np.linspace(0.0, 1.0, 240)[:, None] * np.ones((1, 320))
    file = tmp_path / "x"
    if mode == "I;16":
        Image.fromarray((65535 * ramp).astype(np.uint16)).save(file, "PNG")
    else:
        Image.fromarray((255 * ramp).astype(np.uint8)).convert(mode).save(
            file, "JPEG" if mode == "CMYK" else "PNG"
        )
    assert read_photo(file).pixels.mean(axis=(1, 2)) == pytest.approx(255 * ramp[:, 0], abs=6.0)
