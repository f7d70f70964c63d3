"""The low-discrepancy sequence: against another implementation, and that it fills a cube evenly."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import qmc

from handlap.sim.common import sobol
from handlap.sim.common.sobol import MOST_DIMENSIONS, scrambled_sobol
from handlap.sim.lapping.ensemble import HAND_SCORES, PAPER_SCORES


@pytest.mark.parametrize("dimensions", [1, 5, len(HAND_SCORES) + len(PAPER_SCORES), MOST_DIMENSIONS])
@pytest.mark.parametrize("power", [0, 1, 6, 12])
@pytest.mark.parametrize("seed", [0, 7])
def test_points_are_those_of_scipy_to_the_last_bit(dimensions, power, seed):
    """Independent implementation: scipy.stats.qmc.Sobol, in compiled code of its own."""
    theirs = qmc.Sobol(dimensions, scramble=True, seed=seed).random_base2(power)
    assert np.array_equal(scrambled_sobol(dimensions, power, seed), theirs)
    # Given a generator, scipy takes a child of it.
    theirs = qmc.Sobol(dimensions, scramble=True, seed=np.random.default_rng([seed, 11])).random_base2(power)
    (child,) = np.random.SeedSequence([seed, 11]).spawn(1)
    assert np.array_equal(scrambled_sobol(dimensions, power, child), theirs)


def test_every_sixteenth_of_every_side_holds_as_many_points():
    """What makes it Sobol's: 2^k points of one dimension fall into 2^k equal intervals, one each."""
    points = scrambled_sobol(MOST_DIMENSIONS, 4, 3)
    for row in np.sort(np.floor(16 * points), axis=0).T:
        assert row.tolist() == list(range(16))


@pytest.mark.parametrize("dimensions", [0, MOST_DIMENSIONS + 1])
def test_more_dimensions_than_there_are_directions_for_are_refused(dimensions):
    with pytest.raises(ValueError, match=f"1 to {MOST_DIMENSIONS}"):
        scrambled_sobol(dimensions, 2, 0)


def test_no_command_waits_for_all_of_the_statistics():
    """scipy.stats takes half a second to import, a third of what it takes to be ready for a plan."""
    code = (
        "import sys, handlap.sim.planning.plan, handlap.sim.comparing.compare, handlap.sim.bench.replan, "
        "handlap.sim.comparing.improve, handlap.sim.comparing.why, handlap.sim.lapping.simulate; "
        "print('scipy.stats' in sys.modules)"
    )
    env = {**os.environ, "PYTHONPATH": str(Path(sobol.__file__).resolve().parents[2] / ".src")}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
