"""All facts of the trade in one table: what the trade says, and what the program gets.

    .venv-test/bin/python tests/trade/run.py [--quick] [--only WORD …] [--members N] [--seeds N] [--json FILE]

Run it before and after a number of the model is moved.  A minute and a half of processor time; half a
minute without the plans (--quick).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

# Before NumPy comes: the threads of the small linear algebra compete with those of the members.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent))

from trade_facts import FACTS, Known
from trade_measures import Size

from handlap.cli.reports.validity_report import TRADE_HEADS, fact_cells, fact_json
from handlap.sim.common.errors import HandlapError
from handlap.sim.common.trade_fact import TradeFact

WIDTHS = (88, 33, 24, 8, 7, 9)


def line(cells: Sequence[str]) -> str:
    """One line of the table."""
    return (
        "  ".join(f"{cell:<{width}}" for cell, width in zip(cells, WIDTHS, strict=False)) + "  " + cells[-1]
    )


def told(known: Known, fact: TradeFact) -> str:
    """The line of one fact; it says where that is other than what the tests expect."""
    news = "" if fact.holds == known.holds else "   <- the tests say otherwise"
    return line(fact_cells(fact)) + news


def run(chosen: Sequence[Known], size: Size, tell: Callable[[str], None]) -> list[TradeFact]:
    """Compute the facts one after the other; each is told as it comes, and all are returned."""
    found = []
    tell(line(TRADE_HEADS))
    for known in chosen:
        try:
            fact = known.fact(size)
        except HandlapError as fault:
            tell(line((known.name, known.trade, f"no figure: {fault}", "", "", "", "")))
            continue
        tell(told(known, fact))
        found.append(fact)
    return found


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description="What the trade knows, and what the program gets.")
    parser.add_argument("--quick", action="store_true", help="only what takes seconds")
    parser.add_argument(
        "--only", nargs="+", metavar="WORD", help="facts whose key or name holds one of these"
    )
    parser.add_argument("--members", type=int, metavar="N", help="members of laps and plans alike")
    parser.add_argument(
        "--seeds", type=int, default=1, metavar="N", help="seeds over which papers are chosen"
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures here")
    given = parser.parse_args()
    usual = Size()
    members = {"laps": given.members or usual.laps, "plans": given.members or usual.plans}
    size = Size(**members, seeds=tuple(range(given.seeds)))
    chosen = [k for k in FACTS if not (given.quick and k.slow)]
    if given.only:
        chosen = [
            k for k in chosen if any(word.lower() in f"{k.key} {k.name}".lower() for word in given.only)
        ]
    start = time.process_time()
    found = run(chosen, size, lambda text: print(text, flush=True))
    held = sum(fact.holds for fact in found)
    print(f"\n{held} of {len(found)} hold; {time.process_time() - start:.0f} s of processor time")
    if given.json:
        text = json.dumps([fact_json(fact) for fact in found], indent=1, ensure_ascii=False)
        given.json.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
