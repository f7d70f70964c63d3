"""All benchmarks in one go: prints a table, and writes the figures as JSON if asked.

    .venv-test/bin/python tests/benchmarks/run.py [--quick] [--only NAME …] [--json FILE]

Aims are those of the design; a figure that misses one is marked, and nothing else happens: speed is no
test.  Times are processor time of the thread that does the work, the least of many repetitions, unless
a line says otherwise; threads, plans and start-up go by the clock, so leave the machine alone meanwhile.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

# Before NumPy comes: the threads of the small linear algebra compete with those of the members.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks import laps, program
from benchmarks.timing import Figure, machine

BENCHMARKS: dict[str, Callable[..., Iterator[Figure]]] = {
    "whole-lap": laps.whole_lap,
    "evaluation": laps.evaluation,
    "cells": laps.against_cells,
    "paper": laps.ageing_paper,
    "rows": laps.against_rows,
    "strokes": laps.against_strokes,
    "memory": laps.memory,
    "plan": program.plans,
    "commands": program.commands,
    "steadiness": program.steadiness,
    "start-up": program.start_up,
    "survey": program.survey_draws,
}


def line(figure: Figure) -> str:
    """One line of the table."""
    digits = f"{figure.value:,.0f}" if figure.value == round(figure.value) else f"{figure.value:,.4g}"
    mark = {None: "", True: "met", False: "MISSED"}[figure.met]
    return f"  {figure.name:<64} {digits:>12} {figure.unit:<5} {figure.aim:<16} {mark}".rstrip()


def run(names: list[str], *, quick: bool, tell: Callable[[str], None]) -> dict[str, Any]:
    """Run benchmarks by name; every figure is told as it comes, and all are returned for the JSON file."""
    about = machine()
    for key, value in about.items():
        tell(f"{key}: {' '.join(value) if isinstance(value, list) else value}")
    if quick:
        tell("quick: small cases and part of the march; the figures mean little and no ratio is given")
    found: dict[str, Any] = {"machine": about, "quick": quick, "benchmarks": {}}
    for name in names:
        benchmark = BENCHMARKS[name]
        tell(f"\n{name}: {(benchmark.__doc__ or '').strip()}")
        rows = []
        for figure in benchmark(quick=quick):
            tell(line(figure))
            rows.append(vars(figure))
        found["benchmarks"][name] = rows
    return found


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description="Measure the speed of handlap against its aims.")
    parser.add_argument("--quick", action="store_true", help="small cases, to see that all of it runs")
    parser.add_argument("--only", nargs="+", choices=BENCHMARKS, metavar="NAME", help=", ".join(BENCHMARKS))
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures here")
    given = parser.parse_args()
    found = run(given.only or list(BENCHMARKS), quick=given.quick, tell=lambda text: print(text, flush=True))
    if given.json:
        given.json.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
