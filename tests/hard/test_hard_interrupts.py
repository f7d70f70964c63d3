"""Ctrl-C in the middle of long work: exit code 130 within a second, and every file as it was.

A second of the processor, where others keep the machine busy.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from nursery import processor_time
from nursery_client import SOURCE, Nursery
from tried_commands import BIG, HAND_OVER, TRIED, Tried, filled

SOON = 1.0
"""[s]"""
LONG = [tried for tried in TRIED if tried.long]
ALWAYS = ("plan", "survey")
"""Tried in every run of the tests; the others are slow."""


def interrupt(nursery: Nursery, sandbox: Path, tried: Tried, after: float) -> float:
    args = [tried.name, *filled(tried.long)]
    if tried.writes[-len(HAND_OVER) :] == HAND_OVER:
        args += ["--out", "out", "--json-file", "out/result.json"]
        (sandbox / "out" / "result.json").write_bytes(b"old\n")
        before = {p.name for p in (sandbox / "out").iterdir()}
    else:
        before = set()
    ran = nursery.run(args, sandbox, interrupt_after=after, seconds=after + 30.0)
    assert ran.after_interrupt is not None, f"done before it was interrupted: {ran.err}"
    assert ran.code == 130, (ran.code, ran.err)
    assert not ran.crashed
    assert "interrupted" in ran.err and ran.out == ""
    assert {p.name for p in (sandbox / "out").iterdir()} == before
    if before and "result.json" in before:
        assert (sandbox / "out" / "result.json").read_bytes() == b"old\n"
    return ran.after_interrupt


@pytest.mark.parametrize("tried", [t for t in LONG if t.name in ALWAYS], ids=lambda tried: tried.name)
def test_ctrl_c(nursery: Nursery, sandbox: Path, tried: Tried) -> None:
    assert interrupt(nursery, sandbox, tried, 1.5) < SOON


@pytest.mark.slow
@pytest.mark.parametrize("tried", LONG, ids=lambda tried: tried.name)
@pytest.mark.parametrize("after", [0.7, 2.2])
def test_ctrl_c_at_other_moments(nursery: Nursery, sandbox: Path, tried: Tried, after: float) -> None:
    waited = interrupt(nursery, sandbox, tried, after)
    print(f"{tried.name}: {waited:.2f} s")
    assert waited < SOON


@pytest.mark.slow
@pytest.mark.parametrize("after", [0.3, 0.5, 0.8, 1.2, 3.0])
def test_ctrl_c_in_a_process_of_its_own(sandbox: Path, after: float) -> None:
    """Also while it still imports what it needs."""
    env = {**os.environ, "PYTHONPATH": str(SOURCE), "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen(
        [sys.executable, "-c", "from handlap.cli.main import run; run()", "plan", BIG, "--members", "512"],
        cwd=sandbox, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    time.sleep(after)
    # Others may have kept it waiting.
    while process.poll() is None and (processor_time(process.pid) or after) < after:
        time.sleep(0.02)
    began, used = time.monotonic(), processor_time(process.pid)
    process.send_signal(signal.SIGINT)
    # Left as it is at its end, so that what it has used up can still be asked.
    os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
    waited, whole = time.monotonic() - began, processor_time(process.pid)
    if used is not None and whole is not None:
        waited = min(waited, whole - used)
    out, err = process.communicate(timeout=600)
    print(f"after {after} s: {waited:.2f} s")
    assert process.returncode == 130, err.decode()
    assert b"Traceback" not in err and out == b""
    assert waited < 2.0 * SOON
