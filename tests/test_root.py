"""Roots of functions of one number, against the library's search and closed forms."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from scipy.optimize import brentq

from handlap.sim.common.root import root_between

FUNCTIONS = {
    "line": (lambda x: 3.0 * x - 1.0, -2.0, 5.0, 1.0 / 3.0),
    "square": (lambda x: x * x - 2.0, 0.0, 9.0, math.sqrt(2.0)),
    "steep": (lambda x: math.exp(20.0 * x) - math.e, -1.0, 2.0, 0.05),
    "kinked": (lambda x: x - 0.7 if x < 0.7 else 50.0 * (x - 0.7), 0.0, 1.0, 0.7),
    "falling": (lambda x: math.cos(x), 1.0, 3.0, math.pi / 2.0),
    "an end": (lambda x: x - 1.0, 1.0, 2.0, 1.0),
}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_root_is_that_of_the_closed_form_and_of_the_library(name):
    """The library's search is Brent's, too: the same steps, and as many."""
    function, low, high, root = FUNCTIONS[name]
    seen: list[float] = []

    def looked_at(x: float) -> float:
        seen.append(x)
        return function(x)

    found = root_between(looked_at, low, high)
    assert found == pytest.approx(root, abs=1e-9)
    own, told = brentq(function, low, high, full_output=True)
    assert found == pytest.approx(own, abs=1e-11)
    assert len(seen) == told.function_calls


def test_equal_signs_are_refused():
    with pytest.raises(ValueError, match="no change of sign"):
        root_between(lambda x: x * x + 1.0, -1.0, 1.0)


def test_a_plan_loads_nothing_that_it_does_not_use():
    """Each of these takes a tenth of a second or more to load."""
    code = (
        "import sys, handlap.sim.planning.plan, handlap.cli.reports.plan_report\n"
        "print([m for m in ('scipy.stats', 'scipy.optimize', 'scipy.interpolate', 'scipy.signal', "
        "'scipy.ndimage', 'matplotlib') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert told.stdout == "[]\n", told.stdout + told.stderr
