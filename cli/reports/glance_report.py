"""The ten lines of a first look."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import job_json, schema_of
from handlap.cli.reports.plan_report import ANSWERS
from handlap.cli.reports.quantity import counted, quantity
from handlap.cli.reports.text import wrapped
from handlap.cli.reports.wording import TO_DO, sentence, spread_share
from handlap.cli.screen import Screen
from handlap.sim.common.chance import percent
from handlap.sim.common.said import figure, said_of
from handlap.sim.common.units import in_unit, show_leaf
from handlap.sim.job.results import Band

if TYPE_CHECKING:
    from handlap.sim.planning.first_look import FirstLook


def heights(found: Band, unit: str) -> str:
    """A band of heights in the unit that leaves are stamped in."""
    scale = 1.0 / in_unit(1.0, unit, "leaf")
    return quantity(Band(*(scale * p for p in (found.p05, found.p50, found.p95))), unit)


def glance_lines(found: FirstLook, file: Path, kept: Path | None, screen: Screen) -> list[str]:
    """The answer in lines that fit the screen; ten at most on one of 80 columns."""
    job, part = found.scenario, found.scenario.part
    unit = job.leaf_unit
    answer = ANSWERS[found.verdict.answer][0]
    lines = [screen.strong(line) for line in wrapped(_answered(answer, found), screen.width)]

    def add(name: str, words: str) -> None:
        lines.extend(wrapped(words, screen.width, f"{name:<6}", " " * 6))

    if found.now is not None:
        limit = show_leaf(part.limit, unit)
        add("Now", f"{heights(found.now, unit)} under the straightedge; allowed are {limit}")
    if found.minutes is not None and found.deepest is not None:
        papers = " then ".join((found.papers[0], found.papers[-1]) if len(found.papers) > 1 else found.papers)
        sheets = counted(found.sheets, "sheet")
        add("Work", f"{quantity(found.minutes, 'min', whole=True)} on {papers}, {sheets}")
        may = "nobody has said what may"
        if part.allowance is not None:
            may = f"{show_leaf(part.allowance, unit)} may"
        add("Off", f"{heights(found.deepest, unit)} at the deepest spot; {may} come off")
    else:
        for words in (*found.verdict.reasons[:1], *found.verdict.to_find_out[:1]):
            lines += wrapped(sentence(words), screen.width)
    if found.unknowns:
        lines.append("What would narrow this most:")
        for i, unknown in enumerate(found.unknowns, 1):
            lines += wrapped(
                f"{TO_DO[unknown.name]}{spread_share(unknown)}", screen.width, f"  {i}. ", "     "
            )
    copy = f" (as it was: {kept.name})" if kept is not None else ""
    lines += wrapped(f"Written: {file}{copy}. Next: handlap measuring-sheet {file}", screen.width)
    return lines


def _answered(answer: str, found: FirstLook) -> str:
    """The answer with the chance behind it."""
    if found.chance_both is None:
        sure = (
            "" if found.chance_flat is None else f" (inside the limit already: {percent(found.chance_flat)})"
        )
        return f"{answer.upper()}{sure}"
    both = (
        "inside the limit by hand" if found.scenario.part.allowance is None else "inside both limits by hand"
    )
    already = f", flat enough already {percent(found.chance_flat or 0.0)}"
    open_ = found.chance_flat is not None and found.chance_flat > 0.05
    return f"{answer.upper()}: chance to end {both} {percent(found.chance_both)}{already if open_ else ''}"


def glance_json(found: FirstLook, file: Path, kept: Path | None) -> dict[str, Any]:
    """The same as one JSON object."""
    return {
        "schema": schema_of("glance"),
        **job_json(found.scenario),
        "file": str(file),
        "backup": None if kept is None else str(kept),
        "members": found.members,
        "seed": found.seed,
        "verdict": said_of(found.verdict, "answer reasons to_find_out"),
        "chance_flat_already": found.chance_flat,
        "chance_both": found.chance_both,
        **said_of(found, "now now_zone minutes strokes deepest after papers sheets"),
        "narrows": [
            {"what": u.name, "do": TO_DO[u.name], "share": figure(u.share, 1.0), "of": u.of}
            for u in found.unknowns
        ],
        "next": [f"handlap measuring-sheet {file}", f"handlap readings {file}", f"handlap plan {file}"],
    }
