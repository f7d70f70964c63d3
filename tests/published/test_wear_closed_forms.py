"""Closed forms of Preston wear under a rigid flat, dV = k·F·ds.

Kind: closed forms, derived from geometry and from Preston's law (F. W. Preston, "The theory and
design of plate glass polishing machines", J. Soc. Glass Technology 11, 1927, from memory); no printed digits
but those of the steady crown, which were integrated numerically outside this program.

σ is the volume removed over the volume V_f that clears the whole face.  The program's paper is
soft over a bedding length λ; λ → 0 is approached with λ a thousandth of the error, and heights
are then held to 4 λ (the contact fades over some λ at its edge).
"""

from __future__ import annotations

import numpy as np
import pytest
from jobs import UM, Lapped, crown, hollow, job, lap, twist

from handlap.sim.common.outline import Outline, circle

PRESTON = "Preston wear of a rigid part on a hard flat (Preston 1927, from memory; geometry)"
EVEN = "depth = k·W·s/A"
DECAY = "exp(−depth/λ) in full contact"
STEADY = "λ·ln cosh(2yx/L) with e/L = ∫u·tanh(2yu)du, integrated numerically"
LOAD, RATE, PATH = 100.0, 0.045e-9, 0.2
C = 100 * UM
FINE = 0.1 * UM
L, B = 0.24, 0.02


def lapped_to(
    volume: float, face, outline: Outline, *, bedding: float = FINE, rows: int = 400, **kwargs
) -> Lapped:
    """Lap a face under a central load until about this volume is off."""
    strokes = round(volume / (RATE * LOAD * PATH))
    scenario = job(outline, load=LOAD, load_at=(0.0, 0.0), travel=PATH / 2, bedding=bedding)
    return lap(scenario, face, strokes, rows=rows, **kwargs)


def share_of(found: Lapped, volume: float) -> float:
    return found.run.removed_volume / volume


# ---- a hard flat, λ → 0


def test_flat_face_under_a_central_load(checked):
    """h = k·F·s/A everywhere; in the units of the bench depth[µm] = k[mm³/(N·m)]·p[kPa]·s[m]."""
    outline = Outline.rectangular(0.2, 0.1)
    scenario = job(outline, rate=0.02e-9, load=100.0, load_at=(0.0, 0.0), travel=0.1, bedding=15e-6)
    found = lap(scenario, None, 1000)
    kilopascals = 100.0 / 0.02 / 1e3
    metres = 1000 * 2 * 0.1
    want = 0.02 * kilopascals * metres
    checked(
        "depth everywhere on a flat face under a central load",
        expected=want,
        got=found.removed / UM,
        # The kernel's softplus is good to 2e-9.
        tolerance=5e-9 * want,
        unit="µm",
        kind="closed form",
        source=EVEN,
        about="wear",
    )


@pytest.mark.parametrize("sigma", [0.05, 0.3, 0.7])
def test_crown_held_level(checked, sigma):
    """a/w = σ^(1/3), depth/c = σ^(2/3), V_f = (4/3)·B·w·c for a parabola c over a half length w."""
    w = L / 2
    full = 4.0 / 3.0 * B * w * C
    found = lapped_to(sigma * full, crown(C, w), Outline.rectangular(L, B), cell=L / 240)
    share = share_of(found, full)
    depth = found.removed.max()
    checked(
        f"depth at the middle of a crown of 100 µm, {100 * sigma:.0f} % of its metal off",
        expected=share ** (2 / 3) * C / UM,
        got=depth / UM,
        tolerance=4 * FINE / UM,
        unit="µm",
        kind="closed form",
        source=PRESTON,
        about="wear",
    )
    # The contact is where at least λ came off; there the slope 2ca/w² turns 4 λ into metres.
    n = found.rig.grid.n_cells
    worn = np.abs(found.rig.grid.u[:n])[found.removed[:n] > FINE].max()
    a = share ** (1 / 3) * w
    checked(
        f"half width of the contact on a crown of 240 mm, {100 * sigma:.0f} % of its metal off",
        expected=1e3 * a,
        got=1e3 * worn,
        tolerance=1e3 * (L / 240 + 4 * FINE * w**2 / (2 * C * a)),
        unit="mm",
        kind="closed form",
        source=PRESTON,
        about="wear",
    )


RADIUS = 0.05


def lapped_disc(sigma, sign):
    """A disc, dished (+) or crowned by C, lapped until about ``sigma`` of its metal is off.

    Returns the lap, the share of the metal that came off (of V_f = π·c·R0²/2), the areas of the cells [m²]
    and which of them are worn.
    """
    full = np.pi * C * RADIUS**2 / 2
    outline = Outline(circle(0.0, 0.0, 2 * RADIUS))
    found = lapped_to(
        sigma * full, lambda u, v: sign * C * (u**2 + v**2) / RADIUS**2, outline, cell=2 * RADIUS / 100
    )
    grid, n = found.rig.grid, found.rig.grid.n_cells
    return found, share_of(found, full), grid.area[:n], found.removed[:n] > FINE


@pytest.mark.parametrize("sigma", [0.1, 0.5, 0.9])
def test_spherical_cap(checked, sigma):
    """a/R0 = σ^(1/4), depth/c = σ^(1/2), V_f = π·c·R0²/2."""
    found, share, areas, worn = lapped_disc(sigma, -1.0)
    checked(
        f"depth at the middle of a spherical cap of 100 µm, {100 * sigma:.0f} % of its metal off",
        expected=share**0.5 * C / UM,
        got=found.removed.max() / UM,
        tolerance=4 * FINE / UM,
        unit="µm",
        kind="closed form",
        source=PRESTON,
        about="wear",
    )
    # Areas: a²/R0² = √σ; the raster and 4 λ of height (worth 4 λ/c of the area) are in doubt.
    checked(
        f"share of a spherical cap in contact, {100 * sigma:.0f} % of its metal off",
        expected=share**0.5,
        got=areas[worn].sum() / (np.pi * RADIUS**2),
        tolerance=4 * FINE / C + 0.01,
        kind="closed form",
        source=PRESTON,
        about="wear",
    )


@pytest.mark.parametrize("sigma", [0.1, 0.5, 0.9])
def test_dish(checked, sigma):
    """Inner edge of the contact of a circular hollow: b/R0 = √(1 − √σ)."""
    _, share, areas, worn = lapped_disc(sigma, 1.0)
    checked(
        f"share of a dish that the paper has not met, {100 * sigma:.0f} % of its metal off",
        expected=1.0 - share**0.5,
        got=areas[~worn].sum() / (np.pi * RADIUS**2),
        tolerance=4 * FINE / C + 0.01,
        kind="closed form",
        source=PRESTON,
        about="wear",
    )


@pytest.mark.parametrize(
    ("name", "mean", "face"),
    [
        ("hollow", C / 3, hollow(C, L / 2)),
        ("twist", C / 2, twist(C, L / 2, 0.07)),
        ("crown", 2 * C / 3, crown(C, L / 2)),
    ],
)
def test_mean_depth_that_clears_a_face(name, mean, face):
    """Hollow c/3, twist c/2, crown 2c/3: untouched metal is left before, none after."""
    outline = Outline.rectangular(L, 0.14)
    short = lapped_to(0.98 * mean * outline.area, face, outline)
    assert short.removed.min() < FINE
    done = lapped_to(1.01 * mean * outline.area, face, outline)
    assert done.removed.min() > FINE
    assert np.ptp(done.after) < 4 * FINE


# ---- paper with a depth of its own


def test_small_error_in_full_contact(checked):
    """A waviness of λ/1000 decays as exp(−depth/λ), through the whole lap."""
    lam = 24 * UM

    def waves(u, v):
        return 1e-3 * lam * np.cos(8 * np.pi * u / L) + 0.0 * v

    outline = Outline.rectangular(L, 0.14)
    found = lapped_to(1.2 * lam * outline.area, waves, outline, bedding=lam, cell=0.005)
    n = found.rig.grid.n_cells
    start, end = (x[:n] - x[:n].mean() for x in (found.before, found.after))
    depth = found.run.removed_volume / outline.area
    checked(
        "what is left of a waviness of λ/1000 after 1.2 λ",
        expected=np.exp(-depth / lam),
        got=(start @ end) / (start @ start),
        tolerance=2e-3 * np.exp(-depth / lam),
        kind="closed form",
        source=DECAY,
        about="wear",
    )


@pytest.mark.parametrize(
    ("e", "crowned", "digit"),
    [(0.05, 0.0460, 5e-5), (0.10, 0.1972, 5e-5), (0.15, 0.5109, 5e-5), (0.20, 1.2195, 5e-5)],
)
def test_steady_crown_of_push_and_pull(checked, e, crowned, digit):
    """s(x) = λ·ln cosh(2yx/L), e/L = ∫u·tanh(2yu)du over −½…½: crown/λ to the digits printed.

    The moment µ·a = e comes from the height of the hands.  The points at the very ends are
    followed, so no half cell is missing; 0.2 % is allowed for steps and cells.
    """
    lam = 24 * UM
    strokes = round((60 if e > 0.15 else 30) * lam * L * B / (RATE * LOAD * PATH))
    found = lap(job(length=L, width=B, reach=e * L, travel=PATH / 2), None, strokes, rows=3200, cell=L / 100)
    u, h = found.rig.grid.u, found.after
    # What is left of the last pass's slant cancels between the ends.
    height = h[np.abs(u) < 0.6 * L / 100].mean() - h[np.abs(u) > L / 2 - 1e-9].mean()
    checked(
        f"steady crown over λ from pushing and pulling, moment at {e:g} of the length",
        expected=crowned,
        got=height / lam,
        tolerance=digit + 2e-3 * crowned,
        kind="closed form",
        source=STEADY,
        about="pose of the part",
    )


def test_shape_of_the_steady_crown(checked):
    """The whole profile λ·ln cosh(2yx/L) at e/L 0.15, y from its integral by bisection."""
    from scipy.integrate import quad
    from scipy.optimize import brentq

    e, lam = 0.15, 24 * UM
    y = brentq(lambda y: quad(lambda u: u * np.tanh(2 * y * u), -0.5, 0.5)[0] - e, 0.1, 10.0)
    strokes = round(30 * lam * L * B / (RATE * LOAD * PATH))
    found = lap(job(length=L, width=B, reach=e * L, travel=PATH / 2), None, strokes, rows=3200, cell=L / 100)
    n = found.rig.grid.n_cells
    u, h = found.rig.grid.u[:n], found.cells
    want = -lam * np.log(np.cosh(2 * y * u / L))
    slant = np.polyfit(u, h - want, 1)
    checked(
        "whole profile of the steady crown over λ, moment at 0.15 of the length",
        expected=want / lam,
        got=(h - np.polyval(slant, u)) / lam,
        tolerance=2e-3,
        kind="closed form",
        source=STEADY,
        about="pose of the part",
    )


@pytest.mark.parametrize("e", [0.26, 0.30])
def test_no_steady_crown_from_a_quarter_on(e):
    """No steady crown for e/L ≥ ¼: it grows by the same again in the second half of the work."""
    lam = 24 * UM
    strokes = round(120 * lam * L * B / (RATE * LOAD * PATH))
    found = lap(
        job(length=L, width=B, reach=e * L, travel=PATH / 2), None, strokes, rows=1600, cell=L / 60,
        snapshots=(strokes // 2,),
    )  # fmt: skip
    half, full = np.ptp(found.run.heights, axis=1)
    assert full - half > 0.5 * half
    below = lap(
        job(length=L, width=B, reach=0.20 * L, travel=PATH / 2), None, strokes, rows=1600, cell=L / 60,
        snapshots=(strokes // 2,),
    )  # fmt: skip
    half, full = np.ptp(below.run.heights, axis=1)
    assert full - half < 0.01 * half
