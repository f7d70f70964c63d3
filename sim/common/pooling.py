"""What several jobs say together of one that is still to come: draws about a common mean.

A job's unknowns are those of its kind, which all jobs share, plus what that job alone had (another batch of
paper, another day).  How far jobs lie apart, as a share of what is assumed of one job, is learnt from the
jobs themselves, over a grid, with a floor; and each of them may be of another kind altogether, which is
weighed in closed form.  All is Gaussian given
those two, so that what comes out is a short sum of Gaussians (Gelman et al. 2013, *Bayesian Data Analysis*,
3rd ed., chapter 5, for jobs as draws; Tukey 1960, for the contaminated normal; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from handlap.sim.common.outline import Array

FLOOR = 0.15
"""Jobs are never taken to lie closer together than this, in standard deviations of what is assumed of one
job without any (ours)."""
APART = np.geomspace(FLOOR, 0.9, 10)
"""How far apart they may lie, in the same unit."""
APART_SCALE = 0.3
"""Scale of the half-Cauchy prior of that."""
STRANGE = 0.1
"""Chance, before looking, that a job is of another kind altogether [-] (ours)."""
STRANGE_SD = 2.5
"""Deviation of such a one from the rest, in the same unit."""
MOST_STRANGE = 2
SURELY = 0.5
"""A job is named where the chance that it is of another kind exceeds this [-]."""
FEWEST_TO_NAME = 3
"""With two that differ nobody can say which of them is the odd one."""


@dataclass(frozen=True)
class Pooled:
    """What is known of the next job.

    ``mean`` (k,), ``cov`` (k, k): of its unknowns; ``apart``: how far jobs lie apart, in standard
    deviations of what is assumed of one job; ``strange`` (jobs,): chance that each is of another kind [-].
    """

    mean: Array
    cov: Array
    apart: float
    strange: Array

    @property
    def named(self) -> tuple[int, ...]:
        """Jobs that do not fit the others, by number from zero."""
        if len(self.strange) < FEWEST_TO_NAME:
            return ()
        return tuple(int(i) for i in np.flatnonzero(self.strange > SURELY))


def pool(
    rows: Array,
    values: Array,
    variances: Array,
    mean: Array,
    cov: Array,
    *,
    together: Array | None = None,
) -> Pooled:
    """Unknowns of the next job, from what was found in jobs before.

    Parameters
    ----------
    rows : (jobs, k) what was found in a job, as a linear function of the unknowns
    values, variances : (jobs,) what was found, and the variance of its error
    mean, cov : (k,), (k, k) of the unknowns of one job with nothing known
    together : (jobs,) labels; rows of one label are of one job, whose own they share; None: each is a job

    >>> one = np.ones((3, 1))
    >>> found = pool(one, np.full(3, 0.8), np.full(3, 0.01), np.zeros(1), np.eye(1))
    >>> bool(0.6 < found.mean[0] < 0.8), bool(found.cov[0, 0] < 0.25)
    (True, True)
    """
    jobs = len(rows)
    choices = _which(jobs)
    odd = np.array([[job in choice for job in range(jobs)] for choice in choices], dtype=float)
    before = odd @ np.full(jobs, np.log(STRANGE)) + (1.0 - odd) @ np.full(jobs, np.log1p(-STRANGE))
    labels = np.arange(jobs) if together is None else np.asarray(together)
    shared = (labels[:, None] == labels[None, :]).astype(float)
    gain = cov @ rows.T
    assumed, miss = rows @ gain, values - rows @ mean
    # One of another kind differs from the rest in what it says, not in one of the reasons for it.
    noise = variances + odd * STRANGE_SD**2 * np.diag(assumed)
    logs, means, covs = [], [], []
    for step, apart in zip(np.gradient(np.log(APART)), APART, strict=True):
        # What is a job's own is part of what is assumed of one job, not on top of it.
        common = 1.0 - apart**2
        innovation = (common + apart**2 * shared) * assumed + noise[:, :, None] * np.eye(jobs)
        solved = np.linalg.solve(
            innovation,
            np.broadcast_to(np.column_stack([miss, common * gain.T]), (len(odd), jobs, 1 + len(mean))),
        )
        fit = -0.5 * (solved[:, :, 0] @ miss + np.linalg.slogdet(innovation)[1])
        prior = np.log(step * apart / (1.0 + (apart / APART_SCALE) ** 2))
        logs.append(fit + before + prior)
        means.append(mean + common * solved[:, :, 0] @ gain.T)
        covs.append(cov - common * gain @ solved[:, :, 1:])
    share = np.exp(np.array(logs) - np.max(logs))
    share /= share.sum()
    middle = np.einsum("gc,gck->k", share, np.array(means))
    off = np.array(means) - middle
    spread = np.einsum("gc,gckl->kl", share, np.array(covs)) + np.einsum("gc,gck,gcl->kl", share, off, off)
    return Pooled(
        middle, 0.5 * (spread + spread.T), float(share.sum(axis=1) @ APART), share.sum(axis=0) @ odd
    )


def _which(jobs: int) -> list[tuple[int, ...]]:
    """Every choice of jobs that may be of another kind: none, one, or two of five and more."""
    most = min(MOST_STRANGE if jobs >= 5 else 1, jobs)
    return [odd for count in range(most + 1) for odd in combinations(range(jobs), count)]


def own_word(mean: float, sd: float, prior_mean: float, prior_sd: float) -> tuple[float, float] | None:
    """Mean and standard deviation of what was found alone, with what was assumed beforehand taken out again.

    Counted twice, in every job anew, an assumption would come to look like something found.  None: nothing
    was found.

    >>> own_word(1.0, 0.5, 0.0, 1.0)
    (1.3333333333333333, 0.5773502691896257)
    >>> own_word(0.1, 1.0, 0.0, 1.0) is None
    True
    """
    if not 0.0 < sd < 0.98 * prior_sd:
        return None
    precision = 1.0 / sd**2 - 1.0 / prior_sd**2
    return (mean / sd**2 - prior_mean / prior_sd**2) / precision, precision**-0.5
