"""The trial on a scrap, as a sheet; and what it found."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from handlap.cli.reports.as_json import job_json
from handlap.cli.reports.blocks import Bullets, Report, Section, Table, Words
from handlap.cli.reports.quantity import off, quantity, stated_length
from handlap.cli.reports.wording import every, microns, subject
from handlap.sim.bench.scrap_trial import PaperFound, ScrapTrial
from handlap.sim.common.said import behind, said_of
from handlap.sim.common.spoken import per_swarf, swarf_unit
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.cautions import IN_SHORT


def _grams(expected: Band) -> str:
    factor = per_swarf()
    return quantity(Band(factor * expected.p05, factor * expected.p50, factor * expected.p95))


def scrap_report(trial: ScrapTrial) -> Report:
    """The sheet to work by."""
    heads = ("paper", "strokes", "brush\nevery", f"{swarf_unit()} off\nto expect (range)", "before", "after")
    rows = tuple(
        (b.paper, str(b.strokes), every(b.brush_every), _grams(b.expected), "________", "________")
        for b in trial.blocks
    )
    metal = trial.scenario.part.metal.name
    lead = (
        f"A block of {metal}, {stated_length(trial.side)} square and some {off(trial.mass, 2)}, one block of "
        "strokes on each paper, weighed before and after.",
    )
    how = [
        "Break the scrap's edges, and lap it flat on any paper first: a face that only half touches tells "
        "nothing.",
        "A new sheet for each block, as for the job, wet or dry as for the job; strokes as long as for the "
        "job, pressed as hard as there. Brush as the table says.",
        f"Clean and dry the scrap before each weighing, on a scale that reads to {off(trial.division, 1)}.",
        "Weigh twice; what differs by more than that was not dry.",
        f"Then: handlap scrap-trial {trial.scenario.source} "
        + " ".join(f"--off {b.paper}=…" for b in trial.blocks),
    ]
    doubtful = [b.paper for b in trial.blocks if b.within > 0.2]
    if doubtful:
        how.append(
            f"{', '.join(doubtful)}: on this scale the weighing will tell little; a finer one tells more."
        )
    return Report(
        "scrap-trial",
        "A trial on a scrap",
        "plain",
        subject(trial.scenario),
        lead,
        (
            Section("The blocks", (Table(heads, rows, (0,)),)),
            Section("How to go about it", (Bullets(tuple(how)),)),
            Section("Take care", (Words(IN_SHORT),)),
        ),
    )


def found_report(known: Scenario, found: Sequence[PaperFound], start: str, kept: str) -> Report:
    """What the trial found: each paper by itself, against the first, and which to start on."""
    heads = (
        "paper",
        f"{swarf_unit()} off",
        "times what\nwas taken",
        "100 strokes on the job's\nface (before)",
    )
    rows = []
    for x in found:
        low, middle, high = x.entry.found["cut"]
        mass = f"{per_swarf() * x.off:.3g}"
        cut = f"{middle:.2g} ({low:.2g}–{high:.2g})"
        rows.append((x.paper, mass, cut, f"{microns(x.after)} (was {microns(x.before)})"))
    sections = [Section("What each paper cuts", (Table(heads, tuple(rows), (0,)),))]
    if known.warnings:
        sections.append(Section("Look again", (Bullets(known.warnings),)))
    if kept:
        sections.append(Section("For the next job", (Words(kept),), aside=True))
    lead = [f"By this, the work begins on {start}." if start else "There is one paper to begin on."]
    if not kept:
        lead.append("With --remember the next plans begin from it; without, nothing is kept.")
    answer = f"Start on {start}" if start else "What the paper cuts"
    return Report("scrap-trial", answer, "plain", subject(known), tuple(lead), tuple(sections))


def scrap_json(trial: ScrapTrial) -> dict[str, Any]:
    """The sheet as one object."""
    return {
        "schema": "handlap.scrap-trial/1",
        **job_json(trial.scenario),
        **said_of(trial),
        "found": None,
        "start": None,
    }


def found_json(trial: ScrapTrial, found: Sequence[PaperFound], start: str) -> dict[str, Any]:
    """What was found, as one object."""
    papers = [
        behind(said_of(x, "paper off before after"), "off_g", cut_times_taken=list(x.entry.found["cut"]))
        for x in found
    ]
    return {**scrap_json(trial), "found": papers, "start": start or None}
