"""Phone photos of dyed faces, rendered with numpy from a known dye, a known camera and known light.

A pinhole camera with square pixels looks at the face; light falls off across it, glare lies on it as a
bell of white, openings are dark, fingers hold it at the rim.  Colours are mixed as light (linear) and coded
as IEC 61966-2-1 has it; noise is added to what is coded, and JPEG does the rest.  Nothing of the reader is
used here.  All colours are invented, not measured.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from handlap.sim.common.outline import Array, Outline, circle, rectangle

METALS = {"bright": (0.62, 0.63, 0.64), "grey": (0.30, 0.31, 0.32), "brown": (0.42, 0.30, 0.19)}
DYES = {"blue": (0.10, 0.16, 0.55), "red": (0.70, 0.10, 0.12), "black": (0.12, 0.12, 0.12)}
"""Light that a film lets through, there and back, by channel [-]."""
SKIN, BENCH, HOLE = (0.55, 0.34, 0.25), (0.20, 0.16, 0.12), (0.02, 0.02, 0.022)
FACE = Outline.rectangular(
    0.24,
    0.14,
    (
        circle(-0.042, 0.0, 0.072),
        circle(0.042, 0.0, 0.072),
        *(circle(0.108 * i, 0.05 * j, 0.011) for i in (-1, 1) for j in (-1, 1)),
        circle(0.0, 0.055, 0.011),
        circle(0.0, -0.055, 0.011),
    ),
)
OTHER = Outline.rectangular(
    0.24,
    0.14,
    (circle(0.0, 0.02, 0.05), *(circle(0.09 * i, 0.045 * j, 0.016) for i in (-1, 1) for j in (-1, 1)),
     rectangle(0.05, 0.02, -0.075, 0.0)),
)  # fmt: skip
"""Another part of the same size."""


@dataclass(frozen=True)
class Shot:
    """How a photo is taken: angles in degrees, distance [m], lengths over the diagonal of the picture."""

    metal: str = "bright"
    dye: str = "blue"
    tilt: float = 20.0
    towards: float = 40.0
    roll: float = 4.0
    distance: float = 0.42
    lens: float = 0.75
    gradient: float = 2.0
    """Light at the brightest corner over that at the darkest [-]."""
    glare: float = 0.0
    """Light of the glare where it is strongest; 1 is white [-]."""
    noise: float = 2.5
    """Of a coded value, of 255."""
    quality: int = 80
    fingers: int = 0
    width: int = 1000
    height: int = 750
    seed: int = 0
    outline: Outline = field(default_factory=lambda: FACE)


def camera(shot: Shot) -> Array:
    """From the face (u, v, 1) [m] to pixels (3, 3)."""
    tilt, towards, roll = np.radians([shot.tilt, shot.towards, shot.roll])
    away = np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    across = np.cross([0.0, 1.0, 0.0], away)
    across /= np.linalg.norm(across)
    up = np.cross(away, across)
    turned = np.cos(roll) * across + np.sin(roll) * up, np.cos(roll) * up - np.sin(roll) * across
    # Rows of pixels count down.
    rotation = np.array([turned[0], -turned[1], -away])
    f = shot.lens * np.hypot(shot.width, shot.height)
    lens = np.array([[f, 0.0, 0.5 * shot.width], [0.0, f, 0.5 * shot.height], [0.0, 0.0, 1.0]])
    place = -rotation @ (shot.distance * away)
    return np.asarray(lens @ np.column_stack([rotation[:, 0], rotation[:, 1], place]))


def pixels_of(matrix: Array, points: Array) -> Array:
    """Pixels (k, 2) of points (k, 2) of the face [m]."""
    found = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(found[:, :2] / found[:, 2:])


def corners(outline: Outline) -> Array:
    """Far left, far right, near right, near left (4, 2) [m]."""
    u, v = 0.5 * outline.length, 0.5 * outline.width
    return np.array([[-u, v], [u, v], [u, -v], [-u, -v]])


def dyed_at(shot: Shot, u: Array, v: Array) -> Array:
    """Where dye is left: islands of a smooth random field, with soft edges (…,) [-]."""
    rng = np.random.default_rng([shot.seed, 11])
    field_ = np.zeros_like(u)
    for _ in range(7):
        k = rng.uniform(15.0, 70.0) * np.array([np.cos(a := rng.uniform(0.0, 6.3)), np.sin(a)])
        field_ += rng.normal() * np.sin(k[0] * u + k[1] * v + rng.uniform(0.0, 6.3))
    return np.asarray(1.0 / (1.0 + np.exp(-(field_ - rng.uniform(-0.5, 0.5)) / 0.08)))


def _inside(outline: Outline, u: Array, v: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether points lie within the rim, and on metal."""
    points = np.column_stack([u.ravel(), v.ravel()])
    within = Outline(outline.rim).contains(points), outline.contains(points)
    rim, metal = (np.reshape(each, u.shape) for each in within)
    return rim, metal


def _fingers(shot: Shot, u: Array, v: Array) -> Array:
    """Where fingers lie over the near rim."""
    found = np.zeros(u.shape, dtype=bool)
    rng = np.random.default_rng([shot.seed, 12])
    for k in range(shot.fingers):
        at = -0.07 + 0.14 * (k + rng.uniform(0.2, 0.8)) / shot.fingers
        tip = -0.5 * shot.outline.width + rng.uniform(0.010, 0.016)
        found |= (np.hypot(u - at, np.maximum(v - tip + 0.008, 0.0)) < 0.008) & (v < tip)
    return found


def coloured(shot: Shot, dye: Array | None = None) -> Array:
    """The coded picture (rows, columns, 3), 0 … 1, before noise; ``dye``: in place of :func:`dyed_at`."""
    y, x = np.mgrid[0 : shot.height, 0 : shot.width] + 0.5
    back = np.linalg.inv(camera(shot))
    w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    u = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w
    v = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
    rim, metal = _inside(shot.outline, u, v)
    film = dyed_at(shot, u, v) if dye is None else np.broadcast_to(dye, u.shape)
    rng = np.random.default_rng([shot.seed, 13])
    brushed = 1.0 + 0.05 * rng.standard_normal(u.shape)
    through = np.array(DYES[shot.dye])
    face = np.array(METALS[shot.metal]) * brushed[..., None] * through ** film[..., None]
    light = np.where(rim[..., None], np.where(metal[..., None], face, HOLE), BENCH)
    light = np.where(_fingers(shot, u, v)[..., None], SKIN, light)
    angle = rng.uniform(0.0, 6.3)
    slope = (np.cos(angle) * u + np.sin(angle) * v) / (
        0.5 * np.hypot(shot.outline.length, shot.outline.width)
    )
    light = (
        light * (1.25 * shot.gradient ** (0.5 * np.clip(slope, -1.3, 1.3)) / shot.gradient**0.5)[..., None]
    )
    if shot.glare:
        at = rng.uniform(-0.3, 0.3, 2) * [shot.outline.length, shot.outline.width]
        bell = shot.glare * np.exp(-0.5 * ((u - at[0]) ** 2 + (v - at[1]) ** 2) / 0.011**2)
        light = light + np.where(metal, bell, 0.0)[..., None]
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def photo(shot: Shot, dye: Array | None = None, kind: str = "JPEG", **more: object) -> bytes:
    """The picture as a file."""
    rng = np.random.default_rng([shot.seed, 14])
    coded = 255.0 * coloured(shot, dye)
    coded = np.clip(np.rint(coded + shot.noise * rng.standard_normal(coded.shape)), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    extra = {"quality": shot.quality, "subsampling": 2} if kind == "JPEG" else {}
    Image.fromarray(coded).save(out, kind, **extra, **more)  # type: ignore[arg-type]
    return out.getvalue()
