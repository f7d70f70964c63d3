"""The job sheet's rules for stopping, held against a log as it stands, by what the bench alone shows.

No face is worked here: what the log has taught is asked by ``replan``.  The page for the bench goes by the
same rules from the same thresholds (``bench_page_rules.js``), and a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from handlap.sim.bench.bench_blocks import StopMarks
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.standing import readings_after
from handlap.sim.bench.stop_rules import REREAD, stations_up
from handlap.sim.face.done import Checked, check_lines
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.scenario import LimitBy

Rule = Literal["goal", "allowance grams", "allowance strokes", "worse strokes", "worse stations"]
"""Goal met; allowance near, by the grams or by the strokes; worse from here on, or than before."""


@dataclass(frozen=True)
class BenchRules:
    """What the rules go by: ``limit`` [m], the lines of the measuring sheet, where the rules bite."""

    limit: float
    limit_by: LimitBy
    lines: tuple[MeasuringLine, ...]
    marks: StopMarks


def metal_off(entries: Sequence[Entry]) -> tuple[float, Literal["part", "swarf"]] | None:
    """Metal off since the start of the job [kg] as far as it was weighed, and how; None: it was not.

    Parameters
    ----------
    entries : those that stand, ``at`` counted over them
    """
    weighed = [entry for entry in entries if entry.part_mass is not None]
    if len(weighed) > 1 and weighed[0].at == 0 and weighed[-1].at > 0:
        return (weighed[0].part_mass or 0.0) - (weighed[-1].part_mass or 0.0), "part"
    swarf = [entry.swarf for entry in entries if entry.swarf is not None]
    return (sum(swarf), "swarf") if swarf else None


def checked_now(rules: BenchRules, entries: Sequence[Entry]) -> Checked | None:
    """What the straightedge said since the last stroke; None where it said nothing, or does not decide."""
    read = readings_after(entries)
    if not read or rules.limit_by != "straightedge":
        return None
    return check_lines(rules.limit, rules.lines, read)


def rules_that_hold(rules: BenchRules, entries: Sequence[Entry], strokes: int) -> tuple[Rule, ...]:
    """The rules that hold now.

    Parameters
    ----------
    entries : those that stand
    strokes : done in all, those not written down yet included [-]
    """
    marks, held = rules.marks, list[Rule]()
    written = entries[-1].at if entries else 0
    checked = checked_now(rules, entries) if strokes == written else None
    if checked is not None and checked.answer == "met as checked":
        held.append("goal")
    off = metal_off(entries)
    most = marks.allowance_mass
    if most is not None and off is not None and off[0] >= most:
        held.append("allowance grams")
    elif marks.allowance_strokes is not None and strokes >= marks.allowance_strokes:
        # "Go on only if the grams say less": they have to be of now.
        fresh = strokes == written and _weighed_after_strokes(entries)
        if most is None or off is None or not fresh:
            held.append("allowance strokes")
    if marks.worse_strokes is not None and strokes >= marks.worse_strokes:
        held.append("worse strokes")
    up, thickest = stations_up(entries)
    if up >= 1 and thickest >= REREAD:
        held.append("worse stations")
    return tuple(held)


def _weighed_after_strokes(entries: Sequence[Entry]) -> bool:
    """Whether something was weighed after the last stroke."""
    for entry in reversed(entries):
        if entry.part_mass is not None or entry.swarf is not None:
            return True
        if entry.strokes:
            return False
    return False
