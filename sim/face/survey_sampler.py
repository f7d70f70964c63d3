"""From straightedge readings to an ensemble of faces that could have given them.

Each reading says that the gap at a station lies between the thickest leaf that goes and the
thinnest that does not, felt with some error, and now and then plainly wrong.  Four chains
sample the coefficients of :class:`handlap.sim.face.face_prior.FaceBasis` under that likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common import spoken
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face import survey_kernels as kernels
from handlap.sim.face.edge_kernels import batch_gaps
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
DOUBTED = 0.5
"""A reading counts as plainly wrong when its chance of being so exceeds this [-]."""
CHAINS = 4
BURN_IN = 100
THIN = 4
RUN_ON = 3
"""How often the chains are run on before they are begun afresh."""
AGREE, GIVE_UP = 1.05, 1.10
"""R-hat of log flatness: below the first they agree, above the second they do not."""
AFRESH, AFRESH_ROUNDS, AFRESH_DRAWS = 8, 10, 100
"""Where chains do not agree, others take their place: how many, for how many rounds at most, and the draws of
each chain in a round."""
FLATLY = 0.1
"""Chains that agree are begun afresh all the same where they call this share of the readings plainly
wrong: they may all have come to believe the same half of what was read [-]."""
LOOSEST, COOLING, COOL_SWEEPS = 16.0, 12, 16
"""They begin as if leaves were felt this many times worse than they are; in this many steps, with this many
sweeps of the chain at each, that comes down to once.
Readings that contradict each other leave faces apart that no chain walks between; loosened, the faces
are one crowd, and most chains then come down where the readings are borne out best."""


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
    bow: float | Array
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
    outline: Outline,
    lines: Sequence[StraightedgeLine],
    edge_sd: float = 0.0,
    edge_bow: float = 0.0,
    edge_length: float | None = None,
) -> Evidence:
    """Turn straightedge lines into arrays.

    Parameters
    ----------
    outline : the face
    lines : the readings
    edge_sd : standard error of the straightedge's own line [m]
    edge_bow : its known bow, + = hollow in the middle [m]
    edge_length : its length, over which it has that bow; None: each line's own [m]
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
                lost.append(f"{line.name} at {spoken.position(station.at, '.1f')} is not on metal")
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
        # What lies on the line is part of the arc: its bow goes with the square of its length.
        bow=edge_bow if edge_length is None else edge_bow * (sampled.length / edge_length) ** 2,
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
    batch_gaps(lines.position, lines.offsets, lines.middle, codes, profile[None, :], unused, touched)
    of_all: NDArray[np.int64] = touched[0]
    return of_all


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


class _Chains:
    """Chains on one set of readings."""

    def __init__(self, basis: FaceBasis, evidence: Evidence) -> None:
        lines = evidence.lines
        self.basis, self.evidence = basis, evidence
        self.phi = basis.at(lines.points)
        self.edge = lines.edge_shape(evidence.bow)
        self.codes = np.array([HELD_CODE[h] for h in evidence.held], dtype=np.int64)
        self.guess = _guess_contacts(evidence)

    def run(self, chain: _Chain, draws: int, *, feel: float = 1.0, thin: int = THIN) -> tuple[Array, float]:
        """Draws (draws, shapes) of one chain, after its start where it is fresh; share of steps accepted.

        ``feel``: how many times worse the leaves are felt than they are.
        """
        b, e, lines = self.basis, self.evidence, self.evidence.lines
        kept = np.empty((draws, b.count))
        accepted = kernels.run_chain(
            self.phi, self.edge, lines.position, lines.offsets, lines.middle, self.codes,
            e.point, e.line, e.lo, e.hi, feel * e.feel,
            b.log_scale, b.spread, b.mean, self.guess, chain.rng, chain.z, chain.w,
            chain.jac, chain.goal, chain.omega, chain.fresh, BURN_IN, thin, kept,
        )  # fmt: skip
        chain.fresh = False
        return kept, accepted

    def share_wrong(self, pooled: Array) -> float:
        """Share of the readings that draws (chains, draws, shapes) call plainly wrong [-]."""
        last = pooled[:, -25:].reshape(-1, self.basis.count)
        chance = outlier_chance(self.evidence, self.evidence.gaps(last @ self.phi.T))
        return float(np.mean(chance > DOUBTED))

    def cool(self, chain: _Chain) -> None:
        """Start a chain with leaves felt loosely, and tighten them slowly."""
        b, e, lines = self.basis, self.evidence, self.evidence.lines
        self.run(chain, 1, feel=LOOSEST)
        for feel in np.geomspace(LOOSEST, 1.0, COOLING):
            kernels.freeze_anew(
                self.phi, self.edge, lines.position, lines.offsets, lines.middle, self.codes,
                e.point, e.line, e.lo, e.hi, feel * e.feel,
                b.log_scale, b.spread, b.mean, chain.z, chain.w, chain.jac, chain.goal, chain.omega,
            )  # fmt: skip
            self.run(chain, 1, feel=float(feel), thin=COOL_SWEEPS)


def draw_faces(
    basis: FaceBasis,
    evidence: Evidence,
    *,
    count: int,
    seed: int,
    flatness: Callable[[Array], Array],
) -> Draws:
    """Draw faces given the readings.

    Four chains run on until they agree.  Where they do not, or where readings contradict each other
    flatly, twice as many are begun afresh, from leaves felt loosely and tightened slowly, and run
    longer.  Chains that then still disagree are not believed.

    Parameters
    ----------
    basis : shapes and prior
    evidence : the readings
    count : number of faces wanted [-]
    seed : same seed, same faces
    flatness : flatness (n,) [m] of coefficients (n, shapes), by which the chains are compared
    """
    search, random = _Chains(basis, evidence), np.random.default_rng(seed)
    # Agreement cannot be judged on a handful of draws.
    each = max(math.ceil(count / CHAINS), 25)
    with ThreadPoolExecutor(CHAINS) as pool:
        chains = [_Chain(basis, evidence.count, rng) for rng in random.spawn(CHAINS)]
        found = _run_on(search, chains, each, 1 + RUN_ON, flatness, pool)
        if not found.agree or search.share_wrong(found.pooled) >= FLATLY:
            chains = [_Chain(basis, evidence.count, rng) for rng in random.spawn(AFRESH)]
            list(pool.map(search.cool, chains))
            afresh = _run_on(search, chains, max(each, AFRESH_DRAWS), AFRESH_ROUNDS, flatness, pool)
            found = replace(afresh, rounds=found.rounds + afresh.rounds)
    # Draws evenly along every chain, chains taken in turn.
    per_chain = math.ceil(count / len(chains))
    pick = np.floor((np.arange(per_chain) + 0.5) * found.pooled.shape[1] / per_chain).astype(int)
    chosen = found.pooled[:, pick].transpose(1, 0, 2).reshape(-1, basis.count)[:count]
    return Draws(np.ascontiguousarray(chosen), found.r_hat, found.agree, found.rounds, found.accepted)


@dataclass(frozen=True)
class _Run:
    """What chains drew: pooled (chains, draws, shapes) [m], and the figures of :class:`Draws`."""

    pooled: Array
    r_hat: float
    rounds: int
    accepted: float

    @property
    def agree(self) -> bool:
        return self.r_hat <= GIVE_UP


def _run_on(
    search: _Chains,
    chains: Sequence[_Chain],
    each: int,
    most: int,
    flatness: Callable[[Array], Array],
    pool: ThreadPoolExecutor,
) -> _Run:
    """Run chains for ``each`` draws at a time until they agree, up to a greatest number of times."""
    history: list[Array] = []
    while True:
        results = list(pool.map(lambda chain: search.run(chain, each), chains))
        history.append(np.stack([kept for kept, _ in results]))
        accepted = float(np.mean([a for _, a in results]))
        # The first half of what was drawn is left behind once the chains are run on.
        pooled = np.concatenate(history[len(history) // 2 :], axis=1)
        size = np.log(flatness(pooled.reshape(-1, search.basis.count))).reshape(len(chains), -1)
        r_hat = agreement(size)
        if r_hat <= AGREE or len(history) == most:
            return _Run(pooled, r_hat, len(history), accepted)


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
