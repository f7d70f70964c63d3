"""The benchmarks in miniature: they run, they say what they must, and the march they compare with is right.

No figure of time is held against anything here.
"""

from __future__ import annotations

import json
import math
import sys

import numpy as np
import pytest
from benchmarks import laps, run
from benchmarks.plain_march import PlainJob, plain_march
from benchmarks.timing import Figure, held, machine
from jobs import UM


def test_the_plain_march_comes_to_the_same_face():
    """Independent route: small explicit steps in NumPy, one a pass, against the large step of the program."""
    it = laps.head(cell=8e-3, travel=0.5)
    n = it.rig.grid.n_cells
    u, v, area = (x[:n] for x in (it.rig.grid.u, it.rig.grid.v, it.rig.grid.area))
    plain = PlainJob(u, v, area, laps.RATE, laps.BEDDING, laps.LOAD, laps.LEAD, it.travel)
    after, evaluations = plain_march(plain, it.before[:n], 2 * it.strokes)
    assert evaluations >= 2 * it.strokes
    volume = area @ (it.before[:n] - after)
    assert volume == pytest.approx(laps.RATE * laps.LOAD * laps.SLIDING, rel=1e-5)
    lapped = it.lap(it.quad()).heights[-1, :n]
    np.testing.assert_allclose(after, lapped, rtol=0.0, atol=0.1 * UM)
    # It is worn, and by more than what is allowed to differ.
    assert np.ptp(it.before[:n] - after) > 10 * UM


@pytest.mark.parametrize(
    "name", ["whole-lap", "evaluation", "paper", "rows", "strokes", "survey", "commands", "steadiness"]
)
def test_benchmarks_run_in_miniature(name):
    said: list[str] = []
    found = run.run([name], quick=True, tell=said.append)
    figures = found["benchmarks"][name]
    assert figures and all(math.isfinite(f["value"]) and f["value"] > 0.0 for f in figures)
    assert any("quick" in line for line in said)
    assert len(said) >= len(figures) + len(machine())
    assert json.loads(json.dumps(found)) == found


def test_part_of_a_march_gives_no_ratio():
    assert not any("faster" in f.name for f in laps.whole_lap(quick=True))


def test_the_command_writes_its_file(tmp_path, monkeypatch, capsys):
    path = tmp_path / "figures.json"
    monkeypatch.setattr(sys, "argv", ["run.py", "--quick", "--only", "memory", "--json", str(path)])
    run.main()
    (cells, before, peak) = json.loads(path.read_text(encoding="utf-8"))["benchmarks"]["memory"]
    assert cells["value"] > 1000
    assert before["value"] < peak["value"]
    assert "most memory" in capsys.readouterr().out


def test_a_figure_is_marked_by_its_aim():
    assert held("x", 2.0, "", "at least", 1.5).met is True
    assert held("x", 2.0, "", "at most", 1.5).met is False
    assert run.line(held("x", 2.0, "ns", "at most", 1.5)).endswith("MISSED")
    assert run.line(Figure("x", 1234567.0, "")).endswith("1,234,567")
