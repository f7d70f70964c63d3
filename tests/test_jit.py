"""What kernels are told beyond Python: powers of two by the exponent, and wide vectors."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from handlap.sim.common import jit
from handlap.sim.common.jit import kernel, times_power_of_two, widest_vectors


@kernel()
def powers(p, k, rounding, out):
    for i in range(p.shape[0]):
        out[i] = times_power_of_two(p[i], k[i] + rounding)


@kernel(fastmath=True)
def squares(x, out):
    """A loop that is as wide as the compiler makes it."""
    widest_vectors()
    for i in range(x.shape[0]):
        out[i] = x[i] * x[i] + 1.0


@pytest.mark.parametrize(
    ("kind", "rounding", "most"),
    [(np.float64, 1.5 * 2.0**52, 900), (np.float32, np.float32(1.5 * 2**23), 100)],
)
def test_powers_of_two_are_exact(kind, rounding, most):
    """Closed form: ldexp, for both precisions and exponents of both signs."""
    k = np.arange(-most, most + 1)
    p = np.random.default_rng(0).uniform(1.0, 2.0, k.size).astype(kind)
    out = np.empty_like(p)
    powers(p, k.astype(kind), kind(rounding), out)
    assert out.dtype == kind
    np.testing.assert_array_equal(out, np.ldexp(p, k))


def test_the_wish_for_width_changes_no_result():
    x = np.linspace(-3.0, 3.0, 1001)
    out = np.empty_like(x)
    squares(x, out)
    np.testing.assert_allclose(out, x * x + 1.0, rtol=1e-15)


def test_a_compiler_that_takes_no_wish_is_left_alone(monkeypatch):
    """A newer compiler may refuse the attribute: then kernels are as wide as it likes, and work."""

    def refuse(function):
        raise ValueError("unknown attribute")

    jit.width_can_be_asked_for.cache_clear()
    monkeypatch.setattr(jit, "_declare_wide", refuse)
    try:
        assert not jit.width_can_be_asked_for()
    finally:
        monkeypatch.undo()
        jit.width_can_be_asked_for.cache_clear()
    assert isinstance(jit.width_can_be_asked_for(), bool)


CODE = """
import numpy as np
from handlap.sim.lapping import kernels
t = np.linspace(-30.0, 30.0, 1001)
nought, soft, logistic = np.zeros_like(t), np.empty_like(t), np.empty_like(t)
kernels.softplus_logistic(t, 1.0, nought, nought, 0.0, 0.0, 0.0, soft, logistic)
assert abs(soft - np.logaddexp(0.0, t)).max() < 2e-9
print("well")
"""


def test_kernels_work_on_the_plainest_processor(tmp_path):
    """Compiled for the least that the processor's family has, as a user may ask: no wide vectors there."""
    plainest = {"NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "", "NUMBA_CACHE_DIR": str(tmp_path)}
    told = subprocess.run(
        [sys.executable, "-W", "error", "-c", CODE],
        env={**os.environ, **plainest}, capture_output=True, text=True,
    )  # fmt: skip
    assert told.stdout == "well\n", told.stderr
