"""Where one more straightedge line would tell most about the flatness of a face."""

from __future__ import annotations

import math

import numpy as np

from handlap.sim.common import spoken
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.said import record, said
from handlap.sim.face.face_ensemble import FaceEnsemble
from handlap.sim.face.straightedge import (
    ROCKS_BELOW,
    FaceLine,
    line_gaps,
    sample_lines,
    standard_lines,
)
from handlap.sim.face.survey_sampler import FEEL, NO_UPPER, Evidence

STATIONS = 9
LITTLE = 0.2
"""Below this share of explained variance another line is not worth its while [-]."""
FEWEST_FACES = 60
FOLDS = 5
RIDGES = (3.0, 30.0, 300.0)


@record()
class NextLine:
    """The most telling extra line.

    Attributes
    ----------
    line : where to lay the straightedge
    explained : share of the variance of the flatness that its readings would explain [-]
    factor : expected width of the flatness band over its width now [-]
    helps : whether it is worth the while; if not, thinner leaves help more
    words : the same in a sentence
    """

    line: FaceLine
    explained: float
    factor: float = said(name="band_factor")
    helps: bool
    words: str


def candidate_lines(outline: Outline) -> list[FaceLine]:
    """Lines worth considering: along and across at several offsets, whole and half diagonals."""
    a, b = outline.length / 2.0, outline.width / 2.0
    found: list[tuple[str, tuple[float, float], tuple[float, float]]] = []
    for v in np.array([-0.5, -0.25, 0.0, 0.25, 0.5]) * b:
        found.append((f"along at {spoken.position(v, '+.0f')}", (-a, float(v)), (a, float(v))))
    for u in np.array([-0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75]) * a:
        found.append((f"across at {spoken.position(u, '+.0f')}", (float(u), -b), (float(u), b)))
    for name, u, v in (
        ("left far", -a, b),
        ("right far", a, b),
        ("left near", -a, -b),
        ("right near", a, -b),
    ):
        found.append((f"over the {name} corner", (u, 0.0), (0.0, v)))
    half = 0.5 * (a + b)
    found.append(("rising through the middle", (-half, -b), (half, b)))
    found.append(("falling through the middle", (-half, b), (half, -b)))
    return standard_lines(outline) + [FaceLine(*f) for f in found]


def _already_read(line: FaceLine, evidence: Evidence, near: float) -> bool:
    ends = np.array([line.start, line.end])
    for old in evidence.lines.lines:
        there = np.array([old.start, old.end])
        if min(np.abs(ends - there).max(), np.abs(ends[::-1] - there).max()) < near:
            return True
    return False


def _as_read(gaps: Array, leaves: Array, rng: np.random.Generator) -> Array:
    """What the leaves would say of gaps of any shape: middles of the intervals [m]."""
    felt = gaps + FEEL * rng.standard_normal(gaps.shape)
    edges = np.concatenate([[0.0], leaves, [1.3 * leaves[-1]]])
    middles = np.concatenate([0.5 * (edges[1:] + edges[:-1]), edges[-1:]])
    return middles[np.searchsorted(leaves, felt, side="right")]


def explained_share(features: Array, target: Array) -> float:
    """Cross-validated R² of ridge regression of target (n,) on features (n, k) [-]."""
    spread = features.std(axis=0)
    x = (features - features.mean(axis=0))[:, spread > 0.0] / spread[spread > 0.0]
    if x.shape[1] == 0:
        return 0.0
    fold = np.arange(len(target)) % FOLDS
    best = 0.0
    for ridge in RIDGES:
        missed = np.empty_like(target)
        for k in range(FOLDS):
            fit, held = fold != k, fold == k
            mean = target[fit].mean()
            weight = np.linalg.solve(
                x[fit].T @ x[fit] + ridge * np.eye(x.shape[1]), x[fit].T @ (target[fit] - mean)
            )
            missed[held] = target[held] - mean - x[held] @ weight
        best = max(best, 1.0 - float(missed.var() / target.var()))
    return best


def best_next_line(
    outline: Outline, ensemble: FaceEnsemble, evidence: Evidence, flatness: Array, seed: int = 0
) -> NextLine | None:
    """The extra line that would narrow the flatness most; None if there are too few faces.

    Parameters
    ----------
    outline : the face
    ensemble : faces that fit the readings so far (count faces)
    evidence : those readings; their leaves are the leaves at hand
    flatness : flatness (count,) of the same faces [m]
    seed : same seed, same feel of the leaves
    """
    if ensemble.count < FEWEST_FACES or float(flatness.std()) == 0.0:
        return None
    near = 0.05 * max(outline.length, outline.width)
    lines = [line for line in candidate_lines(outline) if not _already_read(line, evidence, near)]
    stations = [np.linspace(0.03, 0.97, STATIONS) * line.length for line in lines]
    sampled = sample_lines(outline, lines, stations)
    heights = ensemble.heights_at(sampled.points)
    leaves = _leaves_at_hand(evidence)
    if leaves.size == 0:
        return None
    rest = line_gaps(sampled, heights, ["rest"] * len(lines))
    level = line_gaps(sampled, heights, ["level"] * len(lines))
    rng = np.random.default_rng(seed)
    best = (-1.0, 0)
    for i, line in enumerate(lines):
        run = slice(int(sampled.offsets[i]), int(sampled.offsets[i + 1]))
        position = sampled.position[run]
        pick = [k for k, s in enumerate(position) if np.abs(stations[i] - s).min() < 1e-5 * line.length]
        if len(pick) < 3:
            continue
        gaps = rest[:, run] if _sits_still(position, rest[:, run], line.length) else level[:, run]
        seen = _as_read(gaps[:, pick], leaves, rng)
        share = explained_share(np.column_stack([seen, seen**2, seen.max(axis=1)]), flatness)
        if share > best[0]:
            best = (share, i)
    return _describe(lines[best[1]], max(best[0], 0.0))


def _leaves_at_hand(evidence: Evidence) -> Array:
    read = np.concatenate([evidence.lo[evidence.lo > 0.0], evidence.hi[evidence.hi < NO_UPPER]])
    return np.unique(np.round(read, 9))


def _sits_still(position: Array, rest_gaps: Array, length: float) -> bool:
    """Whether the straightedge sits still on half of the faces or more."""
    feet = rest_gaps <= 1e-12
    span = np.array([np.ptp(position[f]) if f.any() else 0.0 for f in feet])
    return float(np.mean(span >= ROCKS_BELOW * length)) >= 0.5


def _along(value: float) -> str:
    return spoken.position(value).split(" ")[0]


def _describe(line: FaceLine, share: float) -> NextLine:
    factor = math.sqrt(1.0 - share)
    helps = share >= LITTLE
    where = (
        f"{line.name}, from ({_along(line.start[0])}, {_along(line.start[1])}) "
        f"to ({_along(line.end[0])}, {_along(line.end[1])}) {spoken.length_unit()}"
    )
    words = (
        f"one more line would tell most {where}: the flatness band should shrink to {factor:.2f} of its width"
        if helps
        else "another line will not help much; thinner leaves, or leaves with smaller steps, will"
    )
    return NextLine(line, share, factor, helps, words)
