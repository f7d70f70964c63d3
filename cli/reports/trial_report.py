"""How long a first block has to be until a weighing of it tells anything."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import GRAM, job_json, schema_of
from handlap.cli.reports.blocks import Bullets, Report, Section, Table, Words
from handlap.cli.reports.quantity import off
from handlap.cli.reports.wording import sentence, subject
from handlap.sim.common.said import figure
from handlap.sim.planning.cautions import IN_SHORT

if TYPE_CHECKING:
    from handlap.sim.bench.bench_trial import FirstBlock
    from handlap.sim.bench.job_log import JobLog
    from handlap.sim.job.scenario import Scenario


def trial_report(scenario: Scenario, trial: FirstBlock, path: Path, log: JobLog) -> Report:
    """How long a first block has to be; ``path``: where the log is, or will be."""

    heads = ("scale reads to", "the part,\nstrokes", "its swarf,\nstrokes")
    rows = tuple(
        (off(d), str(p), str(s)) for d, p, s in zip(trial.divisions, trial.part, trial.swarf, strict=True)
    )
    within = f"{100 * trial.within:.0f} %"
    why = ", the paper that a plan would begin with," if trial.chosen else ""
    lead = (
        f"The first hundred strokes on a new sheet of {trial.paper}{why} take some "
        f"{off(trial.first_hundred, 2)}, later ones less and less. A weighing tells the rate "
        f"within {within} (standard error) after the strokes below; sooner it tells little.",
    )
    advice = (
        "Begin on a new sheet, and say so in the log: what comes off in a stroke depends more on how long "
        "the sheet has been in use than on anything else."
        + (f" Lay another after {trial.sheet_every} strokes." if trial.sheet_every else ""),
        f"Weigh the part clean and dry before the first stroke and after the block: {off(1e-4, 1)} of oil or "
        "water left in it spoils it. Swarf gathered on a pocket scale is nearly as good; 5 to 15 % of it "
        "gets lost, which is allowed for.",
        "No scale? Dye the face, and write down after some 40 strokes where it is full, fading and gone, on "
        "a grid of 3 × 5 (--dye).",
        "A first block without turning (log it with --not-turned) shows best where you press; keep it short, "
        "it cuts a slant.",
        "Leaves tell most about the strokes to the goal: read the lines again after the block.",
        "How fast the paper clogs shows only in weighings between two brushings: one before, one some twenty "
        "strokes after the paper was brushed.",
        f"Write it down with handlap log; the log is {path}.",
    )
    odd = (*log.damage, *log.notes)
    again = (Section("Look again", (Bullets(tuple(map(sentence, odd))),)),) if odd else ()
    return Report(
        "replan",
        "A trial block" if log.strokes else "No strokes in the log yet: begin with a trial block",
        "plain",
        subject(scenario),
        lead,
        (
            *again,
            Section("Strokes until a weighing tells the rate", (Table(heads, rows, ()),)),
            Section("How to go about it", (Bullets(advice),)),
            Section("Take care", (Words(IN_SHORT),)),
        ),
    )


def trial_json(scenario: Scenario, trial: FirstBlock) -> dict[str, Any]:
    """The trial as one object."""
    return {
        "schema": schema_of("trial"),
        **job_json(scenario),
        "paper": trial.paper,
        "paper_chosen": trial.chosen,
        "first_hundred_strokes_g": figure(trial.first_hundred, GRAM),
        "sheet_every": trial.sheet_every,
        "within": trial.within,
        "scales": [
            {"division_g": figure(d, GRAM), "strokes_part": p, "strokes_swarf": s}
            for d, p, s in zip(trial.divisions, trial.part, trial.swarf, strict=True)
        ],
    }
