"""What commands that answer for a job have in common: the job as it is known, the work, the answer shown.

An answer goes by a word, under which everything it needs is found: ``why`` by ``why_report`` and ``why_json``
in ``reports/why_report.py``, and ``why_pictures`` there, too, or in ``drawing/why_pictures.py``.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from importlib import import_module
from typing import TYPE_CHECKING, Any

from handlap.cli.options import Output, Spread, as_known, in_its_units

if TYPE_CHECKING:
    from handlap.sim.job.scenario import Scenario


def known_job(scenario: str, afresh: bool) -> Scenario:
    """The job of a file or a built-in one, as earlier jobs leave it; the command speaks in its units."""
    from handlap.sim.job.scenario_file import load

    return as_known(in_its_units(load(scenario)), afresh)


@contextlib.contextmanager
def working(spread: Spread | None = None) -> Iterator[dict[str, Any]]:
    """The line of progress, and where members are worked, as what does the work takes them."""
    from handlap.cli.progress import ProgressLine

    with ProgressLine() as progress:
        if spread is None:
            yield {"progress": progress}
            return
        with spread.executor() as executor:
            yield {"progress": progress, "executor": executor}


def answer(
    output: Output,
    word: str,
    *found: Any,
    job: Scenario,
    drawn_in: str = "",
    page: dict[str, Any] | None = None,
) -> None:
    """Print and write an answer.

    Parameters
    ----------
    word, found : what it goes by; what its report, JSON and pictures are made from
    drawn_in : module of the pictures, where it has another name
    page : what the report takes besides to say more on the page than at the terminal
    """
    told = import_module(f"handlap.cli.reports.{word}_report")
    report = getattr(told, f"{word}_report")

    def pictures() -> dict[str, bytes]:
        drawn_by = f"{word}_pictures"
        drawing = (
            told if hasattr(told, drawn_by) else import_module(f"handlap.cli.drawing.{drawn_in or drawn_by}")
        )
        drawn: dict[str, bytes] = getattr(drawing, drawn_by)(*found)
        return drawn

    output.hand_over(
        report(*found),
        getattr(told, f"{word}_json")(*found),
        pictures=pictures,
        job=job.name,
        page_report=report(*found, **page) if page else None,
    )
