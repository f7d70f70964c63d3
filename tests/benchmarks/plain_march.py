"""The alternative that the whole lap is measured against: the same equations pass by pass, in NumPy.

Written from the equations alone and sharing nothing with the program's kernels.  It is what one would
write who knows NumPy well: all cells at once, sums as products of matrices, the pose by Newton's method
from that of the last pass the same way, until force and moments balance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
P0 = 1e3
BALANCED = 1e-6
"""Share of the load by which force and moments may be out of balance."""
FURTHEST = 3.0
"""Bedding lengths that any corner may move in one iteration: from cold, whole Newton steps overshoot."""


@dataclass(frozen=True)
class PlainJob:
    """A face (n,) on fresh paper: places [m], areas [m²], k [m²/N], λ [m], load [N], and how far
    before its middle the load acts on the push, and behind it on the pull [m]."""

    u: Array
    v: Array
    area: Array
    rate: float
    bedding: float
    load: float
    lead: float
    travel: float


def plain_march(job: PlainJob, heights: Array, passes: int) -> tuple[Array, int]:
    """Heights (n,) after so many passes, push and pull by turns, and evaluations of the pressure.

    Pressure p0·exp((h + c0 + cu·u + cv·v)/λ) with ∫p = W and its moment where the load acts; each
    pass takes k·p·(travel) off every cell.
    """
    half = np.abs(job.u).max()
    places = np.vstack([np.ones_like(job.u), job.u / half, job.v / half])
    weighted = places * (job.area * P0)
    reach = np.abs(places).max(axis=1)
    h = heights / job.bedding
    bite = job.rate * P0 * job.travel / job.bedding
    targets = [job.load * np.array([1.0, sign * job.lead / half, 0.0]) for sign in (1.0, -1.0)]
    poses = [np.array([-h.max(), 0.0, 0.0])] * 2
    evaluations = 0
    for number in range(passes):
        way = number % 2
        pose = poses[way]
        while True:
            p = np.exp(h + pose @ places)
            pull = weighted * p
            out = targets[way] - pull.sum(axis=1)
            evaluations += 1
            if np.abs(out).max() <= BALANCED * job.load:
                break
            step = np.linalg.solve(pull @ places.T, out)
            pose = pose + step * min(1.0, FURTHEST / float(np.abs(step) @ reach))
        poses[way] = pose
        h = h - bite * p
    return h * job.bedding, evaluations
