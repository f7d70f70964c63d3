"""Facts of the trade: each holds, or is known not to, and what is said of it is true.

All kinds of reference here are common practice; see :mod:`trade_facts`.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from recorded import Checked
from trade_facts import FACTS, Known
from trade_measures import Size, choices, hollow_head, hollow_sole

from handlap.sim.job.scenario import Scenario


def cases() -> list[Any]:
    return [pytest.param(k, id=k.key, marks=[pytest.mark.slow] if k.slow else []) for k in FACTS]


@pytest.mark.parametrize("known", cases())
def test_what_the_trade_knows(known: Known, checked: Checked) -> None:
    """Common practice.  If this fails a fact has begun to hold, or ceased to: say so in its row."""
    checked.trade_fact(known.fact(Size()), holds=known.holds)


CHOICES: dict[str, Callable[[], Scenario]] = {
    f"hollow {hollow}, {'wet' if wet else 'dry'}": partial(hollow_head, hollow, limit, wet=wet)
    for hollow, limit in ((45, 20), (120, 50), (200, 50))
    for wet in (False, True)
} | {"sole": hollow_sole}


@pytest.mark.slow
@pytest.mark.parametrize("name", list(CHOICES))
def test_the_first_paper_is_the_same_over_five_seeds(name: str) -> None:
    """Of another draw of faces and hands, a plan starts on the same paper."""
    taken = [paper for paper, _ in choices(CHOICES[name](), Size(seeds=tuple(range(5))))]
    assert len(set(taken)) == 1, taken


def test_the_table_is_one_command(tmp_path: Path) -> None:
    """As the next person runs it who moves a number, in miniature."""
    file = tmp_path / "facts.json"
    table = str(Path(__file__).with_name("run.py"))
    run = [sys.executable, table, "--only", "sheet-P", "--members", "4", "--json", str(file)]
    done = subprocess.run(run, capture_output=True, text=True, check=True, encoding="utf-8")
    heads, *lines = done.stdout.splitlines()
    assert heads.split() == "fact trade got (5–95 %) off by within tuned on holds".split()
    rows = json.loads(file.read_text(encoding="utf-8"))
    assert [row["name"] for row in rows] == [k.name for k in FACTS if k.key.startswith("sheet-P")]
    for row, line in zip(rows, lines, strict=False):
        assert line.startswith(row["name"]) and row["trade"] in line
        assert "tuned on" in line and ("does not hold" in line) != row["holds"]
        assert row["got"]["p05"] <= row["got"]["p50"] <= row["got"]["p95"]
    assert len({k.key for k in FACTS}) == len(FACTS)
