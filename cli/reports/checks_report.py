"""What to expect at the checks of a plan: figures, metal off and dye."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlap.cli.reports.blocks import Picture, Section, Table, Words
from handlap.cli.reports.quantity import chance, quantity
from handlap.cli.reports.wording import dye_signs, microns
from handlap.sim.common.spoken import height_unit, per_swarf, swarf_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.job.results import Plan, PlanCheck, StagePlan


MOST_ROWS = 12
"""Checks shown in a terminal; the page and the JSON have all."""


def _shown(stage: StagePlan, most: int) -> list[int]:
    """Indices of the checks to show: the first, the last, and some in between."""
    n = len(stage.checks)
    if n <= most:
        return list(range(n))
    step = (n - 1) / (most - 1)
    return sorted({round(i * step) for i in range(most)})


def checks_section(plan: Plan, all_checks: bool) -> Section | None:
    """The section; ``all_checks``: leave none out."""
    total = sum(len(stage.checks) for stage in plan.stages)
    if not total:
        return None
    heads = (
        "after\nstrokes",
        "paper",
        f"straightedge\n{height_unit()}",
        f"flatness\n{height_unit()}",
        f"metal off\n{swarf_unit()}",
        "goal\nmet %",
    )
    rows, dye_rows = [], []
    spare, planned = False, 0
    for stage in plan.stages:
        planned += stage.strokes
        most = total if all_checks else max(2, round(MOST_ROWS * len(stage.checks) / total))
        for i in _shown(stage, most):
            check = stage.checks[i]
            beyond = check.strokes > planned
            spare |= beyond
            when = (f"({check.strokes})" if beyond else f"{check.strokes} ", check.paper)
            dye_rows.append((*when, *dye_cells(check)))
            rows.append(
                (
                    *when,
                    microns(check.straightedge, ""),
                    microns(check.flatness, ""),
                    quantity(check.mass.scaled(per_swarf())),
                    goal_met(check.reached),
                )
            )
    words = (
        "Clean the face, look at the dye, lay the straightedge, weigh what came off; dye it again once half "
        "of the dye is gone. "
        "Stop as soon as the goal is met. Goal met: the chance that it is by then, at this check or one "
        "before; who goes on until a check says stop gets there with a chance of "
        f"{chance(plan.chance.goal)}."
    )
    if spare:
        words += " Strokes in brackets: only if it is not met by then."
    if len(rows) < total:
        words += f" {len(rows)} of {total} checks are shown; --out and --json give all."
    dye = Picture(
        "dye.png",
        "The dye at each check, mean over all faces and hands: dark as it was put on, light gone; half way "
        "it is fading, or cases differ.",
        "Maps of the dye at each check; the table above has the shares that are fading and gone.",
    )
    table = Table(heads, tuple(rows), (1,))
    return Section("Stop and look", (Words(words), table, *dye_blocks("after\nstrokes", dye_rows), dye))


def dye_cells(check: PlanCheck) -> tuple[str, str]:
    """Shares of the face [%] whose dye is fading or gone, and gone."""
    faded, gone = (
        quantity(band.scaled(100.0), whole=True) for band in (check.dye_faded, check.dye_left.rest)
    )
    return faded, gone


def dye_blocks(strokes: str, rows: Sequence[tuple[str, ...]]) -> tuple[Words, Table]:
    """What the dye will show, from rows of strokes (the head of which is given), paper and both shares."""
    words = f"Shares of the face by the dye put on at a check before. {dye_signs()}"
    heads = (strokes, "paper", "dye fading\nor gone, %", "dye\ngone, %")
    return Words(words), Table(heads, tuple(rows), (1,))


def goal_met(share_of_members: float) -> str:
    """A chance in per cent, short enough for a table."""
    return chance(share_of_members).removesuffix(" %").replace("over ", "> ").replace("under ", "< ")
