"""When to stop, as a job sheet and the page for the bench say it."""

from __future__ import annotations

from collections.abc import Sequence

from handlap.cli.asking.readings_text import leaf_words
from handlap.cli.reports.quantity import height, off, quantity, shown
from handlap.cli.reports.wording import place, sentence
from handlap.sim.bench.bench_blocks import StopMarks
from handlap.sim.bench.stop_rules import DEEP, REREAD, WORSE
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.common.units import System, show
from handlap.sim.face.done import goal_words
from handlap.sim.job.results import Plan, StagePlan
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.leg import STOP_AT


def stop_rules(
    plan: Plan, marks: StopMarks, leaves: Sequence[float], system: System
) -> tuple[tuple[str, str], ...]:
    """The rules of a job sheet: name, and what it says."""
    stages = [stage for stage in plan.stages if stage.strokes]
    return (
        ("Goal met", _goal_rule(plan.scenario, leaves)),
        ("Allowance near", _allowance_rule(plan, marks)),
        ("Getting worse", _worse_rule(marks, system)),
        (
            "Far from plan",
            "The weight off, or the thickest leaf, lie outside the range of their row. Less: brush, look "
            "whether the paper is worn, press as planned. More: stop and compare with the allowance. Either "
            f"way write it down (handlap log) and plan the rest anew: handlap replan {plan.scenario.source}",
        ),
        ("Harder to push", _push_rule(stages)),
        (
            "Rocks or grates",
            "Dirt, a lifted seam or a lump under the paper, or hands that tip the part: find out before any "
            "further stroke.",
        ),
    )


def stop_words(
    scenario: Scenario, marks: StopMarks, leaves: Sequence[float], system: System
) -> dict[str, str]:
    """What the rules for stopping say, where they hold for any way of coming to the marks."""
    return {
        "goal": _goal_rule(scenario, leaves),
        "allowance": _allowance_marks(scenario, marks),
        "worse": _worse_rule(marks, system),
    }


def _goal_rule(scenario: Scenario, leaves: Sequence[float]) -> str:
    part = scenario.part
    rule = goal_words(part.limit, part.limit_by, leaves, lambda leaf: leaf_words(leaf, scenario.leaf_unit))
    return sentence(
        f"{rule}. The plan goes on to {100 * STOP_AT:.0f} % of the limit, since leaves and straightedges err"
    )


def _push_rule(stages: Sequence[StagePlan]) -> str:
    """Much harder to push: the sign of clogged paper."""
    first = stages[0]
    fresh, clogged = first.push_fresh, first.push_clogged
    words = "Much harder to push than just after brushing, or shiny bands on the paper: it is clogged. "
    if clogged.p50 > 1.15 * fresh.p50:
        words += (
            f"Fresh {first.paper} takes some {shown(fresh.p50, 'force', 2)} here, clogged some "
            f"{shown(clogged.p50, 'force', 2)}. "
        )
    else:
        words += (
            "Wet, or with a metal that clogs little, it hardly shows: go by the shine and by the weight. "
        )
    return words + "Brush or rinse; if it stays so, lay a new sheet, whatever the plan says."


def _allowance_rule(plan: Plan, marks: StopMarks) -> str:
    part = plan.scenario.part
    if part.allowance is None:
        return (
            "No allowance is stated: ask what may come off before you begin. Planned is a deepest spot of "
            f"{quantity(plan.removed.greatest.scaled(per_height()), height_unit())}."
        )
    deepest = place(*plan.removed.greatest_at, part.outline.length, part.outline.width)
    return _allowance_marks(plan.scenario, marks, f", most likely at {deepest},")


def _allowance_marks(scenario: Scenario, marks: StopMarks, where: str = "") -> str:
    """The rule of the allowance; ``where``: at which spot it is likely to bite."""
    if scenario.part.allowance is None:
        return "No allowance is stated: ask what may come off before you begin."
    words = f"No spot may lose more than {height(scenario.part.allowance)}. "
    if marks.allowance_mass is not None:
        words += (
            f"Stop at the latest when {off(marks.allowance_mass, 2)} are off in all: the deepest "
            f"spot{where} is then about there (swarf that is gathered weighs some 5 to 15 % less). "
        )
    if marks.allowance_strokes is not None:
        words += (
            f"From {marks.allowance_strokes} strokes of the whole job on, the chance of that is over "
            f"{100 * DEEP:.0f} %: go on only if the weight says less."
        )
    else:
        words += f"In the blocks planned its chance stays under {100 * DEEP:.0f} %."
    return words


def _worse_rule(marks: StopMarks, system: System) -> str:
    when = (
        f"That is so from {marks.worse_strokes} strokes of the whole job on."
        if marks.worse_strokes is not None
        else "That is not expected in the blocks planned."
    )
    return (
        f"The next block makes it worse with a chance over {100 * WORSE:.0f} % (last column). {when} Or: "
        "more stations went up than down since the last check, and a leaf of "
        f"{show(REREAD, 'height', system, 2)} or more goes at one of them: read those again, and if it is "
        "so, stop."
    )
