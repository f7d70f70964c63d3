"""What kernels are told beyond Python: powers of two by the exponent, and wide vectors."""

from __future__ import annotations

import os
import pickle
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

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


def test_powers_of_two_are_exact():
    """Closed form: ldexp, for exponents of both signs."""
    k = np.arange(-900, 901)
    p = np.random.default_rng(0).uniform(1.0, 2.0, k.size)
    out = np.empty_like(p)
    powers(p, k.astype(float), 1.5 * 2.0**52, out)
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
from handlap.sim.lapping import pressure_kernels
t = np.linspace(-30.0, 30.0, 1001)
nought, soft, logistic = np.zeros_like(t), np.empty_like(t), np.empty_like(t)
pressure_kernels.softplus_logistic(t, nought, nought, 0.0, 0.0, 0.0, soft, logistic)
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


CALLER = """
from handlap.sim.common.jit import kernel
from handlap.sim.lapping.inner_kernels import inner


@kernel()
def outer(x):
    return inner(x) + 1.0
"""
INNER = """
from handlap.sim.common.jit import kernel


@kernel()
def inner(x):
    return {} * x
"""
ASK = """
from handlap.sim.common import jit
from handlap.sim.lapping.outer_kernels import outer
print(outer(1.0), sum(outer.stats.cache_hits.values()), jit.__file__)
"""


def two_files(
    folder: Path, **environment: str
) -> tuple[Callable[[str], None], Callable[[], tuple[float, bool]]]:
    """A program of two files of kernels, one of which calls the other: write the latter, and ask the former.

    The answer is that of the caller, and whether it was kept from a run before.  A written file looks to
    be as old and as long as it was.
    """
    for name in ("common", "lapping"):
        (folder / "handlap" / "sim" / name).mkdir(parents=True)
    shutil.copy(jit.__file__, folder / "handlap" / "sim" / "common")
    # A package with this file comes before one without it, wherever on the path they stand.
    (folder / "handlap" / "__init__.py").touch()
    (folder / "handlap" / "sim" / "lapping" / "outer_kernels.py").write_text(CALLER)
    inner = folder / "handlap" / "sim" / "lapping" / "inner_kernels.py"

    def write(factor: str) -> None:
        inner.write_text(INNER.format(factor))
        os.utime(inner, (1e9, 1e9))

    def ask() -> tuple[float, bool]:
        asked = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1", **environment}
        told = subprocess.run([sys.executable, "-c", ASK], env=asked, capture_output=True, text=True)
        assert told.returncode == 0, told.stderr
        answer, hits, where = told.stdout.split(maxsplit=2)
        assert Path(where.strip()).is_relative_to(folder)
        return float(answer), int(hits) > 0

    return write, ask


@pytest.mark.parametrize("named", [False, True], ids=["beside the sources", "in a folder that was named"])
def test_a_change_in_another_file_of_kernels_is_noticed(tmp_path, named):
    """… and what was kept of the file before makes room for it; the same again is not compiled twice."""
    kept = tmp_path / "kept"
    # An empty name is none.
    write, ask = two_files(tmp_path / "program", NUMBA_CACHE_DIR=str(kept) if named else "")
    write("2.0")
    assert ask() == (3.0, False)
    assert ask() == (3.0, True)
    files = {p.name for p in (kept if named else tmp_path / "program").rglob("*.nb?")}
    assert files
    write("5.0")
    assert ask() == (6.0, False)
    assert ask() == (6.0, True)
    assert {p.name for p in (kept if named else tmp_path / "program").rglob("*.nb?")} == files


def test_what_was_kept_of_records_that_are_gone_is_compiled_anew(tmp_path):
    """What is kept names the types that a kernel takes; an update of the program may have renamed one."""
    kept = tmp_path / "kept"
    write, ask = two_files(tmp_path / "program", NUMBA_CACHE_DIR=str(kept))
    write("2.0")
    assert ask() == (3.0, False)
    for path in kept.rglob("*.nbi"):
        with path.open("rb") as index:
            version = pickle.load(index)
        path.write_bytes(pickle.dumps(version) + b"chandlap.sim.common.jit\nNoLongerThere\n.")
    assert ask() == (3.0, False)
    assert ask() == (3.0, True)


def test_processes_that_start_together_compile_the_same(tmp_path):
    """Each may compile; none reads what another has half written."""
    write, ask = two_files(tmp_path / "program", NUMBA_CACHE_DIR=str(tmp_path / "kept"))
    for factor, expected in (("2.0", 3.0), ("5.0", 6.0)):
        write(factor)
        with ThreadPoolExecutor(2) as asked:
            assert {answer for answer, _ in asked.map(lambda _: ask(), range(2))} == {expected}
    assert ask() == (6.0, True)


def test_sources_that_cannot_be_read_leave_the_compilers_own_mark(tmp_path, monkeypatch):
    """As from an archive."""
    jit.digest_of_sources.cache_clear()
    monkeypatch.setattr(
        jit, "__file__", str(tmp_path / "archive.zip" / "handlap" / "sim" / "common" / "jit.py")
    )
    try:
        assert jit.digest_of_sources(tmp_path) == ""
    finally:
        jit.digest_of_sources.cache_clear()
        monkeypatch.undo()
    assert len(jit.digest_of_sources(tmp_path)) == 64
