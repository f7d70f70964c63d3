"""How far a thin part is sprung flat under the hands, and what comes back when it is let go.

Pressed, the face is ``h + w`` with ``w = Σ q·φ`` (:mod:`handlap.sim.lapping.bending`); that is what gets
lapped.  Let go, it is ``h``.  A part lapped until it is flat under the hands therefore has the
face ``−w``: what comes back is the bend the hands had put into it.

Two closed forms for a face that touches all over, under a central load (linear, so small errors):

- Worn in, the pressure is even (else the proud spots would still wear faster), so only the hands
  bend the part: ``q = F·B⁻¹·press``, whatever the warp was.  Spring-back is proportional to F.
- A warp of shape m decays with the mean depth removed as ``exp(−depth/(λ + W/B_m))``, not towards
  flat but towards that spring-back: bending adds ``W/B_m`` to the bedding length λ.

On the way there, while a hollow still bears on its ends, the hands can spring the part far more
than in the end: a lap that stops early needs the simulated figure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.face.flatness import minimum_zone_widths

BISECTIONS = 12
"""Runs that the search for the largest press spends at most."""


@dataclass(frozen=True)
class SpringFigures:
    """What bending does to a face, one number for each member (members,) [m].

    Attributes
    ----------
    free : minimum zone of the face as it lies free
    pressed : minimum zone of the face as the hands hold it on the paper
    comes_back : minimum zone of the bend alone: by so much the face changes when let go
    """

    free: Array
    pressed: Array
    comes_back: Array

    @property
    def sprung_flat(self) -> Array:
        """How much flatter the face is under the hands than free; negative if less flat [m]."""
        return self.free - self.pressed


def spring_figures(u: Array, v: Array, heights: Array, amplitudes: Array, shapes: Array) -> SpringFigures:
    """How much faces are sprung flat while they are lapped, and what comes back.

    Parameters
    ----------
    u, v : places (n,) of the points of the face [m]
    heights : faces as they lie free (members, n) or (n,), positive = proud [m]
    amplitudes : of the bending shapes under the hands (members, m) or (m,) [m]
    shapes : the shapes at the points (n, m), from :meth:`Bending.shapes_at` [-]
    """
    free = np.atleast_2d(np.asarray(heights, dtype=float))
    bend = np.atleast_2d(np.asarray(amplitudes, dtype=float)) @ shapes.T
    pressed = free + bend
    return SpringFigures(
        free=minimum_zone_widths(u, v, free),
        pressed=minimum_zone_widths(u, v, pressed),
        comes_back=minimum_zone_widths(u, v, bend),
    )


def largest_press_simulated(
    spring_back_of: Callable[[float], float],
    limit: float,
    *,
    low: float,
    high: float,
    tolerance: float = 1.0,
) -> float | None:
    """Greatest press within ``limit`` by a simulation, by bisection.

    Parameters
    ----------
    spring_back_of : runs a lap under a press of the hands [N] and returns what comes back [m],
        growing with the press
    limit : spring-back wanted at most [m]
    low, high : presses between which to look [N]
    tolerance : width of the bracket at which to stop [N]; at most 12 halvings are made

    Returns
    -------
    press [N] whose spring-back was found to be within the limit; ``high`` if that is still so
    there (then press does not limit); None if even ``low`` springs back further

    >>> largest_press_simulated(lambda press: 0.4e-6 * press, 10e-6, low=0.0, high=100.0)
    25.0
    """
    if spring_back_of(high) <= limit:
        return high
    if spring_back_of(low) > limit:
        return None
    for _ in range(BISECTIONS):
        if high - low <= tolerance:
            break
        middle = 0.5 * (low + high)
        if spring_back_of(middle) <= limit:
            low = middle
        else:
            high = middle
    return low
