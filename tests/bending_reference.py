"""One large step of a part that bends, by a general minimiser: slow, and not the program's own.

The energy whose minimum is the pose: for each cell ``(λ²/(k·Δs))·S(t)`` with t the closing in
bedding lengths, shifted by ln β, and S the integral of the softplus, −Li₂(−eᵗ) (the dilogarithm).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, spence

from handlap.sim.common.outline import Array
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.scenario import Part
from handlap.sim.lapping.bending import Bending, make_bending

REFERENCE_PRESSURE = 1e3


def softplus_integral(t):
    """∫ ln(1 + eˢ) ds from −∞ to t."""
    low = -np.abs(t)
    below = -spence(1.0 + np.exp(low))
    return np.where(t > 0.0, np.pi**2 / 6.0 + 0.5 * t * t - below, below)


@dataclass(frozen=True)
class ReferenceStep:
    heights: np.ndarray
    """Face after the step (n,) [m]."""
    pose: np.ndarray
    """Approach and tilts (3,) [m, -, -]."""
    amplitudes: np.ndarray
    """Of the bending shapes (m,) [m]."""
    energy: float
    """At the minimum [J]."""
    residual: float
    """Greatest component of the gradient that is left, in N."""


def reference_step(
    h, u, v, area, k, lam, slide, load, eu, ev, bending: Bending | None, *,
    press: float | None = None, ground=0.0, start=None,
) -> ReferenceStep:  # fmt: skip
    """Carry a face (n,) through one step of sliding ``slide`` [m] under ``load`` [N] at (eu, ev) [m].

    k [m²/N], lam [m]; press: the share of the load that comes from the hands [N], all of it where it
    is not given; ground (n,): height of plate and paper under each spot [m]; start: first guess of
    pose and amplitudes, in units of lam.
    """
    press = load if press is None else press
    half = max(np.ptp(u), np.ptp(v)) / 2.0
    basis = [np.ones_like(u), u / half, v / half]
    target = load * np.array([1.0, eu / half, ev / half])
    elastic = np.zeros((3, 3))
    if bending is not None:
        basis.extend(bending.shapes_at(np.column_stack([u, v])).T)
        work = press * bending.press + (load - press) * bending.weight
        target = np.concatenate([target, work])
        elastic = np.zeros((target.size, target.size))
        elastic[3:, 3:] = bending.stiffness * lam
    shapes = np.array(basis)
    stiffness = lam / (k * slide) * area
    base = (h + ground) / lam + np.log(k * REFERENCE_PRESSURE * slide / lam)

    def energy(c):
        t = base + c @ shapes
        return stiffness @ softplus_integral(t) + 0.5 * c @ elastic @ c - c @ target

    def gradient(c):
        return shapes @ (stiffness * np.logaddexp(0.0, base + c @ shapes)) + elastic @ c - target

    def hessian(c):
        return (shapes * (stiffness * expit(base + c @ shapes))) @ shapes.T + elastic

    if start is None:
        start = np.zeros(len(shapes))
        start[0] = -base.max()
    # The stiffest shapes are a million times stiffer than the contact: solve in scaled amplitudes.
    scale = 1.0 / np.sqrt(1.0 + np.diag(elastic) / load)
    found = minimize(
        lambda x: energy(scale * x) / load,
        np.asarray(start) / scale,
        jac=lambda x: scale * gradient(scale * x) / load,
        hess=lambda x: scale[:, None] * hessian(scale * x) * scale / load,
        method="trust-exact",
        options={"gtol": 1e-9, "maxiter": 2000, "initial_trust_radius": 2.0, "max_trust_radius": 100.0},
    )
    c = scale * found.x
    for _ in range(3):
        c = c - np.linalg.solve(hessian(c), gradient(c))
    removed = lam * np.logaddexp(0.0, base + c @ shapes)
    pose = lam * c[:3] / np.array([1.0, half, half])
    return ReferenceStep(
        heights=h - removed,
        pose=pose,
        amplitudes=lam * c[3:],
        energy=float(lam * energy(c)),
        residual=float(np.abs(gradient(c)).max()),
    )


def on_end_lines(part: Part, degree: int, load: str, span: float | None = None) -> float:
    """Compliance of the middle [m/N] of a plate on two lines across it that hold both ways.

    load: "line", even on a line across the middle, or "pad", as the hands press; span: between the
    supports [m], the length of the part where it is not given.
    """
    bent = make_bending(part, degree=degree, keep=None)
    assert bent is not None
    half = (span or part.outline.length) / 2
    across = np.polynomial.legendre.leggauss(degree + 2)[0] * part.outline.width / 2
    edge = np.vstack([np.column_stack([np.full_like(across, s * half), across]) for s in (-1, 1)])
    rows = np.hstack([np.ones((len(edge), 1)), edge / half, bent.shapes_at(edge)])
    _, sizes, turned = np.linalg.svd(rows)
    free = turned[np.count_nonzero(sizes > 1e-9 * sizes[0]) :].T
    elastic = np.zeros((3 + bent.count, 3 + bent.count))
    elastic[3:, 3:] = bent.stiffness
    line = across.size * 4
    at, share = np.polynomial.legendre.leggauss(line)
    middle = np.column_stack([np.zeros(line), at * part.outline.width / 2])
    work = bent.press if load == "pad" else 0.5 * share @ bent.shapes_at(middle)
    force = np.concatenate([[1.0, 0.0, 0.0], work])
    found = free @ np.linalg.solve(free.T @ elastic @ free, free.T @ force)
    return float(found[0] + bent.shapes_at(np.zeros((1, 2)))[0] @ found[3:])


def settled_amplitudes(bending: Bending, press: float) -> Array:
    """Amplitudes (m,) [m] of the bend under ``press`` [N] of hands once the face has worn in.

    The contact pressure is then even; closed form, see the head of :mod:`handlap.sim.lapping.spring_back`.
    """
    return press * bending.press / np.diag(bending.stiffness)


def spring_back_per_newton(bending: Bending, points: Array) -> float:
    """Minimum zone that comes back for each newton of the hands, worn in [m/N].

    Parameters
    ----------
    bending : of the part
    points : where the face is judged (n, 2), its rim among them [m]
    """
    bend = bending.shapes_at(points) @ settled_amplitudes(bending, 1.0)
    return float(minimum_zone_widths(points[:, 0], points[:, 1], bend[np.newaxis])[0])
