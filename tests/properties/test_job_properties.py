"""What holds of the answers to whole jobs, whatever the job: laws of accounts, twins, one tale told by all.

Jobs are drawn by number (``drawn_jobs``), written as files and run through the commands (``job_laws``).
The default suite tries a few, the slow one a thousand; ``HANDLAP_SEEK=5`` takes those from 5000 on instead.
A failure prints the job; ``python tests/properties/job_laws.py FIRST LAST --keep FOLDER`` writes it down.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from drawn_jobs import READ, SHAPES, DrawnJob, draw_job
from job_laws import MOST_MEGABYTES, odd_numbers, try_number

from handlap.sim.job.scenario_file import load

QUICK = (2, 5, 6)
SLOW, EACH = 1000, 20
FIRST = 1000 * int(os.environ.get("HANDLAP_SEEK", "0") or 0)
LAWS = Path(__file__).with_name("job_laws.py")


def told(job: DrawnJob, broken: list[str]) -> str:
    """What is wrong with a job, and the job."""
    table = "" if job.heights is None else f"\nheights: {np.array2string(job.heights, threshold=10**6)}"
    log = "".join(f"\nhandlap log job.toml {' '.join(entry)}" for entry in job.log)
    return "\n".join(broken) + f"\n---- job {job.number}\n{job.text()}{table}{log}"


@pytest.mark.parametrize("number", QUICK)
def test_laws_of_whole_jobs(number, tmp_path):
    tried = try_number(FIRST + number, tmp_path)
    assert not tried.broken, told(tried.job, tried.broken)


@pytest.mark.slow
@pytest.mark.parametrize("first", range(FIRST, FIRST + SLOW, EACH))
def test_laws_of_many_whole_jobs(first):
    """In a process of its own, whose memory is its own."""
    done = subprocess.run(
        [sys.executable, str(LAWS), str(first), str(first + EACH)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-20_000:] + done.stderr[-5000:]
    peak = re.search(r"peak memory (\d+) MB", done.stdout)
    assert peak and int(peak[1]) < MOST_MEGABYTES, done.stdout[-2000:]


def test_drawn_jobs_are_of_every_sort_and_valid(tmp_path):
    """Each is read without a fault, in either system and turned, and a number gives the same job again."""
    jobs = [draw_job(number) for number in range(40)]
    assert {job.shape for job in jobs} == set(SHAPES) and {job.read for job in jobs} >= set(READ)
    for job in jobs:
        assert job.text() == draw_job(job.number).text()
        mm = load(str(job.write(tmp_path / "mm")))
        inch = load(str(job.write(tmp_path / "inch", "inch")))
        assert inch.part.outline.area == pytest.approx(mm.part.outline.area, rel=1e-9)
        assert inch.hands.press.value == pytest.approx(mm.hands.press.value, rel=1e-9)
        turned = load(str(job.quarter().write(tmp_path / "quarter")))
        assert turned.part.outline.length == pytest.approx(mm.part.outline.width, rel=1e-9)
        assert turned.strokes.direction == pytest.approx(mm.strokes.direction + np.pi / 2)


def test_a_wrong_answer_is_seen():
    """The laws of any JSON: a band out of order, a chance above one."""
    assert not list(odd_numbers({"a_um": {"p05": 1.0, "p50": 1.0, "p95": 2.0}, "chance": {"goal": 1.0}}))
    assert list(odd_numbers({"a_um": {"p05": 1.0, "p50": 0.9, "p95": 2.0}}))
    assert list(odd_numbers([{"chance": {"goal": 1.2}}])) and list(odd_numbers({"dye_gone": {"p50": -0.1}}))
