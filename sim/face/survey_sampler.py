"""From straightedge readings to an ensemble of faces that could have given them.

Each reading says that the gap at a station lies between the thickest leaf that goes and the
thinnest that does not, felt with some error, and now and then plainly wrong.  Four chains
sample the coefficients of :class:`handlap.sim.face.face_prior.FaceBasis` under that likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face import survey_kernels as kernels
from handlap.sim.face.face_prior import FaceBasis
from handlap.sim.face.straightedge import HELD_CODE, FaceLine, LineSet, line_gaps, on_metal, sample_lines

if TYPE_CHECKING:
    from handlap.sim.job.scenario import StraightedgeLine

FEEL = 8e-6
"""Standard error of a leaf's feel [m]; true feel is nearer 4 µm, the rest buys model error."""
NO_UPPER = 1.0
"""Stands for "nothing thicker was tried" [m]."""
LEAF_REACH = 3e-3
"""A station this near to metal, along its line, is still felt there [m]."""
CHAINS = 4
BURN_IN = 100
THIN = 4
RUN_ON = 3
"""How often the chains are run on before giving up on their agreement."""
AGREE, GIVE_UP = 1.05, 1.10
"""R-hat of log flatness: below the first they agree, above the second they do not."""


@dataclass(frozen=True)
class Evidence:
    """Readings as arrays: sampled lines, and an interval for the gap at each station.

    Attributes
    ----------
    lines : the lines with their points (n points)
    held : how each line was held
    point : index of each station among the points (stations,)
    line : index of its line (stations,)
    lo, hi : thickest leaf that goes (−1: none), thinnest that does not (1: none tried) [m]
    origin : line and place in its list of stations, per station
    lost : stations over openings or off the face, in words
    bow : bow of the straightedge, + = hollow [m]
    feel : standard error of a reading [m]
    """

    lines: LineSet
    held: tuple[str, ...]
    point: NDArray[np.int64]
    line: NDArray[np.int64]
    lo: Array
    hi: Array
    origin: tuple[tuple[int, int], ...]
    lost: tuple[str, ...]
    bow: float
    feel: float

    @property
    def count(self) -> int:
        """Number of stations [-]."""
        return int(self.point.size)

    def gaps(self, heights: Array) -> Array:
        """Gaps (members, stations) under faces of heights (members, n) at the points [m]."""
        return line_gaps(self.lines, heights, self.held, self.bow)[:, self.point]


def _onto_metal(outline: Outline, line: FaceLine, at: float) -> float:
    """A station moved along its line onto the nearest metal, where a leaf's width reaches it [m]."""
    trial = np.array([0.0, *(s * d for d in np.linspace(0.0, LEAF_REACH, 11)[1:] for s in (-1.0, 1.0))])
    near = at + trial
    near = near[(near >= 0.0) & (near <= line.length)]
    start, end = np.array(line.start), np.array(line.end)
    metal = on_metal(outline, start + np.outer(near / line.length, end - start))
    return float(near[int(np.argmax(metal))]) if metal.any() else at


def gather(
    outline: Outline, lines: Sequence[StraightedgeLine], edge_sd: float = 0.0, edge_bow: float = 0.0
) -> Evidence:
    """Turn straightedge lines into arrays.

    Parameters
    ----------
    outline : the face
    lines : the readings
    edge_sd : standard error of the straightedge's own line [m]
    edge_bow : its known bow, + = hollow in the middle [m]
    """
    face_lines = [FaceLine(line.name, line.start, line.end) for line in lines]
    stations = [
        [_onto_metal(outline, face_line, s.at) for s in line.stations]
        for face_line, line in zip(face_lines, lines, strict=True)
    ]
    sampled = sample_lines(outline, face_lines, stations)
    point: list[int] = []
    of_line: list[int] = []
    lo: list[float] = []
    hi: list[float] = []
    origin: list[tuple[int, int]] = []
    lost: list[str] = []
    for i, line in enumerate(lines):
        first, last = int(sampled.offsets[i]), int(sampled.offsets[i + 1])
        position = sampled.position[first:last]
        length = face_lines[i].length
        for k, station in enumerate(line.stations):
            at = stations[i][k]
            near = int(np.argmin(np.abs(position - at))) if position.size > 1 else -1
            if near < 0 or abs(position[near] - at) > 2e-5 * length:
                lost.append(f"{line.name} at {station.at * 1e3:.1f} mm is not on metal")
                continue
            point.append(first + near)
            of_line.append(i)
            lo.append(station.goes if station.goes > 0.0 else kernels.NOTHING_GOES)
            hi.append(min(station.stops, NO_UPPER))
            origin.append((i, k))
    return Evidence(
        lines=sampled,
        held=tuple(line.held for line in lines),
        point=np.array(point, dtype=np.int64),
        line=np.array(of_line, dtype=np.int64),
        lo=np.array(lo),
        hi=np.array(hi),
        origin=tuple(origin),
        lost=tuple(lost),
        bow=edge_bow,
        feel=math.hypot(FEEL, edge_sd),
    )


def _guess_contacts(evidence: Evidence) -> NDArray[np.int64]:
    """Where the straightedge touched, as the readings alone suggest: contacts (lines, 2)."""
    lines = evidence.lines
    profile = np.zeros(lines.position.size)
    middle = np.maximum(evidence.lo, 0.0)
    middle = np.where(evidence.hi < NO_UPPER, 0.5 * (middle + evidence.hi), 1.2 * middle)
    for i in range(len(lines.lines)):
        of_line = evidence.line == i
        run = slice(int(lines.offsets[i]), int(lines.offsets[i + 1]))
        if of_line.any():
            at = lines.position[evidence.point[of_line]]
            order = np.argsort(at)
            profile[run] = -np.interp(lines.position[run], at[order], middle[of_line][order])
    codes = np.array([HELD_CODE[h] for h in evidence.held], dtype=np.int64)
    touched = np.zeros((1, len(lines.lines), 2), dtype=np.int64)
    unused = np.empty((1, profile.size))
    kernels.batch_gaps(lines.position, lines.offsets, lines.middle, codes, profile[None, :], unused, touched)
    return touched[0]


@dataclass(frozen=True)
class Draws:
    """Faces drawn by the chains.

    Attributes
    ----------
    coefficients : (count, shapes) [m]
    r_hat : agreement of the chains on log flatness, 1 = perfect [-]
    converged : whether r_hat is at most 1.1
    rounds : how often the chains were run [-]
    accepted : share of Hamiltonian steps accepted [-]
    """

    coefficients: Array
    r_hat: float
    converged: bool
    rounds: int
    accepted: float


def agreement(chains: Array) -> float:
    """R-hat (Gelman & Rubin 1992) of one number along chains (chains, draws) [-]."""
    n = chains.shape[1]
    within = float(chains.var(axis=1, ddof=1).mean())
    between = float(chains.mean(axis=1).var(ddof=1))
    if within <= 0.0:
        return math.inf if between > 0.0 else 1.0
    return math.sqrt((n - 1.0) / n + between / within)


class _Chain:
    """State of one chain, which a kernel reads and writes."""

    def __init__(self, basis: FaceBasis, stations: int, rng: np.random.Generator) -> None:
        self.rng = rng
        self.z = rng.standard_normal(basis.count)
        self.w = 0.6 * rng.standard_normal(basis.spread.shape[1])
        self.jac = np.zeros((stations, basis.count))
        self.goal = np.zeros(stations)
        self.omega = np.ones(stations)
        self.fresh = True


def draw_faces(
    basis: FaceBasis,
    evidence: Evidence,
    *,
    count: int,
    seed: int,
    flatness: Callable[[Array], Array],
) -> Draws:
    """Draw faces given the readings.

    Parameters
    ----------
    basis : shapes and prior
    evidence : the readings
    count : number of faces wanted [-]
    seed : same seed, same faces
    flatness : flatness (n,) [m] of coefficients (n, shapes), by which the chains are compared
    """
    lines = evidence.lines
    phi = basis.at(lines.points)
    edge = lines.edge_shape(evidence.bow)
    codes = np.array([HELD_CODE[h] for h in evidence.held], dtype=np.int64)
    guess = _guess_contacts(evidence)
    log_scale, spread, mean = basis.log_scale, basis.spread, basis.mean
    chains = [_Chain(basis, evidence.count, rng) for rng in np.random.default_rng(seed).spawn(CHAINS)]
    # Agreement cannot be judged on a handful of draws.
    each = max(math.ceil(count / CHAINS), 25)

    def run(chain: _Chain) -> tuple[Array, float]:
        kept = np.empty((each, basis.count))
        accepted = kernels.run_chain(
            phi, edge, lines.position, lines.offsets, lines.middle, codes,
            evidence.point, evidence.line, evidence.lo, evidence.hi, evidence.feel,
            log_scale, spread, mean, guess, chain.rng, chain.z, chain.w,
            chain.jac, chain.goal, chain.omega, chain.fresh, BURN_IN, THIN, kept,
        )  # fmt: skip
        chain.fresh = False
        return kept, accepted

    history: list[Array] = []
    r_hat, rounds, accepted = math.inf, 0, 0.0
    pooled = np.empty((CHAINS, 0, basis.count))
    with ThreadPoolExecutor(CHAINS) as pool:
        while rounds <= RUN_ON:
            results = list(pool.map(run, chains))
            rounds += 1
            history.append(np.stack([kept for kept, _ in results]))
            accepted = float(np.mean([a for _, a in results]))
            # The first half of what was drawn is left behind once the chains are run on.
            pooled = np.concatenate(history[len(history) // 2 :], axis=1)
            size = np.log(flatness(pooled.reshape(-1, basis.count))).reshape(CHAINS, -1)
            r_hat = agreement(size)
            if r_hat <= AGREE:
                break
    # Draws evenly along every chain, chains taken in turn.
    per_chain = math.ceil(count / CHAINS)
    pick = np.floor((np.arange(per_chain) + 0.5) * pooled.shape[1] / per_chain).astype(int)
    chosen = pooled[:, pick].transpose(1, 0, 2).reshape(-1, basis.count)[:count]
    return Draws(np.ascontiguousarray(chosen), r_hat, r_hat <= GIVE_UP, rounds, accepted)


def outlier_chance(evidence: Evidence, gaps: Array) -> Array:
    """Posterior chance (stations,) that a reading is plainly wrong.

    Parameters
    ----------
    evidence : the readings
    gaps : gaps (members, stations) of faces drawn from the posterior [m]
    """
    wrong = kernels.OUTLIER_SHARE * kernels.OUTLIER_DENSITY
    chance = np.empty_like(gaps)
    for m in range(gaps.shape[0]):
        for k in range(gaps.shape[1]):
            chance[m, k] = kernels.station_chance(gaps[m, k], evidence.lo[k], evidence.hi[k], evidence.feel)
    right = (1.0 - kernels.OUTLIER_SHARE) * chance
    return np.asarray((wrong / (right + wrong)).mean(axis=0))
