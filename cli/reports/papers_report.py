"""Which paper to start on, in words and as a table, so that a person can take another."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlap.cli.reports.blocks import Section, Table, Words
from handlap.cli.reports.quantity import number, quantity, share
from handlap.cli.reports.wording import roughness
from handlap.sim.common.spoken import per_swarf, swarf_unit
from handlap.sim.common.words import listed
from handlap.sim.planning.papers import DEFAULT_FINISH, clearly_better

if TYPE_CHECKING:
    from handlap.sim.job.results import PaperTrial, Plan
from handlap.cli.reports.checks_report import goal_met


def papers_section(plan: Plan) -> Section | None:
    """The section; None where only one paper was tried."""
    if len(plan.trials) < 2:
        return None
    taken = plan.stages[0].paper
    heads = (
        "start on",
        "then",
        "minutes\n(range)",
        "sheets",
        f"metal off\n{swarf_unit()}",
        "both limits\nmet %",
        "quicker, in\nof 100",
    )
    rows = tuple(
        (
            trial.paper + (" *" if trial.paper == taken else ""),
            ", ".join(trial.finer) or "-",
            quantity(trial.minutes, whole=True),
            number(trial.sheets, 2),
            quantity(trial.metal.scaled(per_swarf())),
            goal_met(trial.chance_both),
            "-" if trial.paper == taken else f"{round(100.0 * trial.quicker)}",
        )
        if trial.tried and trial.metal and trial.chance_both is not None and trial.quicker is not None
        else (
            trial.paper,
            ", ".join(trial.finer) or "-",
            f"some {number(trial.minutes.p50, 2)}",
            "",
            "",
            "",
            "",
        )
        for trial in plan.trials
    )
    tried = max(trial.tried for trial in plan.trials)
    least = min(trial.tried for trial in plan.trials if trial.tried)
    fewer = f", or {least} of them where it was plainly slower" if least < tried else ""
    words = [
        *_choice_words(plan, taken),
        f"Minutes are of all work, brushing and changes of paper included. Each was worked by the same "
        f"{tried} faces and hands{fewer}; quicker: than the one taken (*), the coarsest of those whose "
        "minutes over the chance cannot be told from the least and that are not plainly slower.",
    ]
    if any(not trial.tried for trial in plan.trials):
        words.append("Where only minutes stand it was not tried: it would take far longer.")
    if plan.scenario.part.gasket_ra is None:
        words.append(
            f"No finish is stated: finer papers go to {roughness((DEFAULT_FINISH,) * 2)}, common practice."
        )
    return Section("Which paper first", (Words(" ".join(words)), Table(heads, rows, (1,))))


def _choice_words(plan: Plan, taken: str) -> list[str]:
    """What to start on, and how sure that is: no more than so few members can bear."""
    trials = {trial.paper: trial for trial in plan.trials}
    own = trials[taken]
    minutes = quantity(own.minutes, whole=True)
    if plan.scenario.paper.start is not None:
        return [f"To start on {taken} is stated: {minutes} minutes with changes of paper."]
    if len(plan.alike) > 1:
        return [
            f"{listed(plan.alike)} are about alike ({minutes} minutes; none is quicker or slower than the "
            "coarsest in more than four cases of five). Take the coarser, or the one you have.",
            *_surer_words(plan, own),
        ]
    words = [f"Start on {taken}: {minutes} minutes with changes of paper."]
    others = [t for t in plan.trials if t.tried and t.paper != taken and t.quicker is not None]
    if others:
        next_best = min(others, key=lambda t: t.minutes.p50)
        more = len(next_best.finer) - len(own.finer)
        why = ", for it needs one more paper afterwards" if more > 0 else ""
        few = "in few cases" if (next_best.quicker or 0.0) < 0.25 else "in some cases"
        able = next_best.chance_both is not None and own.chance_both is not None
        if able and (own.chance_both or 0.0) - (next_best.chance_both or 0.0) >= 0.1:
            why = ", and meets the limits less often"
        words.append(
            f"{next_best.paper} takes some {number(next_best.minutes.p50, 2)} and is quicker {few}{why}."
        )
    words += _surer_words(plan, own)
    return words


def _surer_words(plan: Plan, own: PaperTrial) -> list[str]:
    """A paper that meets both limits clearly more often than the one taken, for whom that counts most."""
    chance = own.chance_both or 0.0
    tried = [t for t in plan.trials if t.tried]
    surer = [t for t in tried if clearly_better(t.chance_both or 0.0, chance, min(t.tried, own.tried))]
    if not surer:
        return []
    # Not the surest: what takes three times as long for a few cases more is no advice.
    best = min(surer, key=lambda t: t.minutes.p50)
    return [
        f"{best.paper} meets both limits more often ({share(best.chance_both or 0.0)} against "
        f"{share(chance)}) and takes some {number(best.minutes.p50, 2)} minutes: start on it where that "
        "counts more than time."
    ]
