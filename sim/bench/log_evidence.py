"""What a log says in numbers: weighings, dye and leaves, and what a face that was worked would show.

Each datum is a number with its standard error, or (a leaf) an interval that holds the gap.
Depths positive = taken off.  SI throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.replay import LogCourse
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.face.survey_sampler import NO_UPPER, Evidence, gather
from handlap.sim.job.scenario import Part, Scenario
from handlap.sim.lapping.dye import DyeDraw, roughness_dyed
from handlap.sim.lapping.dye_picture import DyePicture
from handlap.sim.materials import grits
from handlap.sim.materials.mass import SWARF_LOST

ROUNDING = 0.82
"""Standard error of a difference of two weighings, over the scale's division [-]."""
CLEANING = 0.02e-3
"""Standard error from dirt and damp on a part that was cleaned and dried with care [kg]."""
MASS_SHARE = 0.03
"""… and from loss, pores and so on, over the mass itself [-]."""
LEAF = 6e-6
"""Standard error of a leaf in a log, model error included [m]."""
FAR = 4.5
"""Beyond this many standard errors an interval is taken by its nearer edge [-]."""
LOG_MASS = 4.0
"""A mass this many standard errors from zero is compared in logarithms, where it is nearly linear."""


@dataclass(frozen=True)
class Weighing:
    """Mass off between two states of the face, as weighed [kg]."""

    entry: int
    words: str
    first: int
    last: int
    mass: float
    sd: float
    kept: float
    """Share of the metal that reaches the scale [-]."""


@dataclass(frozen=True)
class DyeLook:
    """What was seen of dye that was put on a face with roughness Ra [m]."""

    entry: int
    words: str
    first: int
    last: int
    picture: DyePicture
    roughness: float

    @property
    def sd(self) -> Array:
        """Standard error of every share [-]."""
        return self.picture.errors


@dataclass(frozen=True)
class Leaves:
    """Readings of one entry."""

    entry: int
    words: str
    state: int
    evidence: Evidence
    run: str
    """Name of the points of its lines on the grid."""

    @property
    def sd(self) -> float:
        """Standard error of a reading [m]."""
        return float(np.hypot(LEAF, np.sqrt(max(self.evidence.feel**2 - 64e-12, 0.0))))


LogLook = Weighing | DyeLook | Leaves


def leaves_of(scenario: Scenario, entries: Sequence[Entry]) -> dict[str, Evidence]:
    """Readings of every entry, by the name under which their points are followed on the grid."""
    readings = scenario.readings
    return {
        f"log {entry.number}": gather(
            scenario.part.outline, entry.readings, readings.edge_sd, readings.edge_bow, readings.edge_length
        )
        for entry in entries
        if entry.readings
    }


def gather_looks(
    part: Part, entries: Sequence[Entry], course: LogCourse, evidence: dict[str, Evidence]
) -> tuple[LogLook, ...]:
    """Everything that was weighed or read, in the order of the log."""
    looks: list[LogLook] = []
    swarf_from, dyed_from = 0, 0
    weighed: tuple[int, float, float] | None = None
    dyed_on = paper = ""
    for entry, state in zip(entries, course.state, strict=True):
        paper = entry.paper or paper
        scale = entry.scale or 0.0
        if entry.swarf is not None:
            sd = float(np.hypot(ROUNDING * scale, MASS_SHARE * entry.swarf))
            kept = 1.0 - 0.5 * sum(SWARF_LOST)
            looks.append(Weighing(entry.number, "swarf", swarf_from, state, entry.swarf, sd, kept))
            swarf_from = state
        if entry.part_mass is not None:
            if weighed is not None:
                lost = weighed[1] - entry.part_mass
                sd = float(np.sqrt((ROUNDING * max(scale, weighed[2])) ** 2 + CLEANING**2
                                   + (MASS_SHARE * lost) ** 2))  # fmt: skip
                looks.append(Weighing(entry.number, "weight of the part", weighed[0], state, lost, sd, 1.0))
            weighed = state, entry.part_mass, scale
        if entry.readings:
            name = f"log {entry.number}"
            looks.append(Leaves(entry.number, "readings", state, evidence[name], name))
        pictures = entry.dye_pictures if paper else ()
        if pictures:
            rough = roughness_dyed(grits.find(dyed_on or paper), part.metal, worked=bool(dyed_on))
            looks += [DyeLook(entry.number, "dye", dyed_from, state, seen, rough) for seen in pictures]
        if entry.dyed:
            # Before the first stroke the face carries no paper's scratches yet.
            dyed_from, dyed_on = state, paper if state else ""
    return tuple(look for look in looks if not isinstance(look, Weighing) or look.last > look.first)


def shown(look: LogLook, grid: Grid, part: Part, states: Array, dyes: Sequence[DyeDraw]) -> Array:
    """What a look would have shown on faces (members, states, n): (members, data), as it is written.

    ``dyes`` (members): when the dye of each fades and is gone.
    """
    if isinstance(look, Leaves):
        return look.evidence.gaps(states[:, look.state, grid.part(look.run)])
    n = grid.n_cells
    removed = states[:, look.first, :n] - states[:, look.last, :n]
    if isinstance(look, Weighing):
        return look.kept * part.metal.density * (removed @ grid.area[:n])[:, None]
    gone_at = np.array([dye.gone_at(look.roughness) for dye in dyes])[:, None]
    faded_at = np.array([dye.faded_at(look.roughness) for dye in dyes])[:, None]
    return look.picture.shown(grid, removed, gone_at, faded_at)


@dataclass(frozen=True)
class Compared:
    """Data and predictions in the numbers in which they are compared.

    ``value``, ``variance`` (data,) : what was written, and the square of its standard error;
    ``predicted`` (members, data); ``look`` (data,) : place in the list of looks; ``off`` (data,)
    : distance of the ensemble's middle from what was written, over the standard error of both.
    """

    value: Array
    variance: Array
    predicted: Array
    look: NDArray[np.int64]
    off: Array


def compare(
    looks: Sequence[LogLook], grid: Grid, part: Part, states: Array, dyes: Sequence[DyeDraw]
) -> Compared:
    """Hold every look against faces (members, states, n) and the dye of every member."""
    values, variances, predictions, places, offs = [], [], [], [], []
    for place, look in enumerate(looks):
        found = shown(look, grid, part, states, dyes)
        if isinstance(look, Leaves):
            value, variance, off = _intervals(look, found)
        else:
            written = look.picture.seen if isinstance(look, DyeLook) else np.array([look.mass])
            seen = np.isfinite(written) & np.isfinite(found).all(axis=0)
            value, found = written[seen], found[:, seen]
            variance = np.broadcast_to(look.sd, written.shape)[seen] ** 2
            if isinstance(look, Weighing) and look.mass > LOG_MASS * look.sd and (found > 0.0).all():
                value, found, variance = (
                    np.log(value),
                    np.log(found),
                    (look.sd / look.mass) ** 2 + 0.0 * value,
                )
            off = np.abs(value - found.mean(axis=0)) / np.sqrt(variance + found.var(axis=0))
        values.append(value)
        variances.append(variance)
        predictions.append(found)
        offs.append(off)
        places.append(np.full(value.size, place, dtype=np.int64))
    if not values:
        empty = np.empty(0)
        return Compared(empty, empty, np.empty((len(states), 0)), np.empty(0, dtype=np.int64), empty)
    return Compared(
        np.concatenate(values), np.concatenate(variances), np.hstack(predictions), np.concatenate(places),
        np.concatenate(offs),
    )  # fmt: skip


def _intervals(look: Leaves, gaps: Array) -> tuple[Array, Array, Array]:
    """For each interval a measured number with a variance that says as much; and distances outside.

    The smoother takes numbers, not intervals.  Over the members the gap has mean m and variance v; once it is
    known to lie in the interval, it has another mean and variance (those of a normal law cut off at the
    ends).  What comes back is the number y with variance R whose measurement would have made the same of m
    and v.  Distances are those of m from the interval, in standard deviations; zero inside.
    """
    floor = look.sd**2
    low = np.where(look.evidence.lo <= 0.0, -np.inf, look.evidence.lo)
    high = np.where(look.evidence.hi >= NO_UPPER, np.inf, look.evidence.hi)
    m, v = gaps.mean(axis=0), gaps.var(axis=0)
    s = np.sqrt(v + floor)
    a, b = (low - m) / s, (high - m) / s
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        inside = ndtr(b) - ndtr(a)
        pa, pb = (np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) for x in (a, b))
        apa, bpb = (np.where(np.isfinite(x), x * p, 0.0) for x, p in ((a, pa), (b, pb)))
        slope = (pa - pb) / (s * inside)
        curve = np.clip(slope**2 + (bpb - apa) / (s * s * inside), 1e-9 / floor, 1.0 / s**2)
        value, variance = m + slope / curve, np.maximum(1.0 / curve - v, floor)
    nearer = np.where(a > 0.0, low, high)
    far = (a > FAR) | (b < -FAR)
    value, variance = np.where(far, nearer, value), np.where(far, floor, variance)
    outside = np.maximum(np.maximum(a, -b), 0.0)
    return value, variance, outside
