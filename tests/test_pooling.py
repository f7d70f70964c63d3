"""Jobs pooled: limits in closed form, and simulated workshops with a known truth."""

from __future__ import annotations

import numpy as np
import pytest

from handlap.sim.common.pooling import FLOOR, own_word, pool

JOB_SD = 0.2, 0.6
"""Of single jobs about their person's mean, in the unit of what is assumed of one job: from, to."""
ERROR = 0.35
"""Of what one job says, as weighings and leaves leave it."""


def pooled(values, errors):
    """Scalars pooled: values and errors (jobs,)."""
    values, errors = np.atleast_1d(values), np.atleast_1d(errors)
    return pool(np.ones((len(values), 1)), values, errors**2, np.zeros(1), np.eye(1))


def test_a_job_that_says_nothing_teaches_nothing():
    found = pooled([0.7], [1e4])
    assert abs(found.mean[0]) < 1e-3 and found.cov[0, 0] == pytest.approx(1.0, abs=1e-3)


def test_many_exact_jobs_leave_what_jobs_differ_by():
    """Against the plain mean and deviation of a sample, to which it has to come."""
    rng = np.random.default_rng(1)
    for apart in (0.3, 0.6):
        values = 0.5 + apart * rng.standard_normal(14)
        found = pooled(values, np.full(14, 0.01))
        assert found.mean[0] == pytest.approx(values.mean(), abs=0.1)
        assert found.cov[0, 0] ** 0.5 == pytest.approx(values.std(ddof=1), rel=0.25)


def test_jobs_that_agree_are_not_taken_to_agree_for_ever():
    assert pooled(np.full(10, 0.5), np.full(10, 1e-3)).cov[0, 0] ** 0.5 > FLOOR


def test_two_unknowns_of_which_jobs_say_the_sum():
    """Closed form: what is common to two unknowns is learnt, what tells them apart is not."""
    rows = np.array([[1.0, 0.5]] * 4)
    found = pool(rows, np.full(4, 0.6), np.full(4, 0.01), np.zeros(2), np.eye(2))
    assert rows[0] @ found.mean == pytest.approx(0.6, abs=0.08)
    across = np.array([-0.5, 1.0])
    assert abs(across @ found.mean) < 0.12 and found.cov[0, 1] < 0.0


def test_one_job_far_from_the_others_is_found_and_does_not_poison():
    values = np.array([0.4, 0.5, -2.2, 0.45, 0.3])
    found, without = pooled(values, np.full(5, 0.2)), pooled(np.delete(values, 2), np.full(4, 0.2))
    assert found.named == (2,) and without.named == ()
    assert found.mean[0] == pytest.approx(without.mean[0], abs=0.1)
    assert found.cov[0, 0] < 1.5 * without.cov[0, 0]


def test_of_two_that_differ_none_is_named():
    assert pooled([1.5, -1.5], [0.1, 0.1]).named == ()


def test_what_was_assumed_is_taken_out_again():
    """Closed form: a normal assumption times a normal finding; and backwards."""
    mean, sd = 0.9, 0.4
    precision = 1.0 + sd**-2
    found = own_word(mean * sd**-2 / precision, precision**-0.5, 0.0, 1.0)
    assert found == pytest.approx((mean, sd))


@pytest.mark.parametrize("strange", [False, True], ids=["none strange", "one of another abrasive"])
def test_bands_of_the_sixth_job_hold_and_are_narrower(strange):
    """The sixth job of four hundred people, alike from job to job or not, against its band."""
    rng = np.random.default_rng(17)
    people = 400
    inside, width, named, false = 0, [], 0, 0
    for _ in range(people):
        apart = np.exp(rng.uniform(*np.log(JOB_SD)))
        person = np.sqrt(1.0 - apart**2) * rng.standard_normal()
        truth = person + apart * rng.standard_normal(6)
        said = truth[:5] + ERROR * rng.standard_normal(5)
        if strange:
            said[1] += rng.choice([-1.0, 1.0]) * 3.0
        found = pooled(said, np.full(5, ERROR))
        sd = found.cov[0, 0] ** 0.5
        inside += abs(truth[5] - found.mean[0]) < 1.645 * sd
        width.append(sd)
        named += 1 in found.named
        false += len([k for k in found.named if k != 1 or not strange])
    assert 0.85 <= inside / people <= 0.95
    assert np.median(width) < (0.6 if strange else 0.5)
    assert false / people < 0.05
    if strange:
        assert named / people > 0.8


def test_three_jobs_halve_the_band():
    """The aim: half as wide as without memory after three weighed jobs, where jobs are that alike."""
    rng = np.random.default_rng(3)
    width = []
    for _ in range(200):
        person = rng.standard_normal()
        width.append(pooled(person + np.hypot(0.25, 0.3) * rng.standard_normal(3), np.full(3, 0.3)).cov)
    assert np.median(np.sqrt(width)) < 0.5
