"""What the tests of the page for the bench share: a made-up plan, texts as a page writes them, and a table of
logs with the rules that hold of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from cli_examples import synthetic_plan

from handlap.sim.bench.bench_blocks import StopMarks
from handlap.sim.bench.bench_page_text import head_of, text_of
from handlap.sim.bench.job_log import JobLog, part_mark
from handlap.sim.bench.log_marks import marks_of
from handlap.sim.bench.log_place import owner_of
from handlap.sim.bench.page_plan import PagePlan, page_of_plan
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, read_text

UM = 1e-6
PHONE, OTHER = "k3f9q2", "zz81aa"


def job_file(folder: Path, name: str = "head.toml") -> Scenario:
    """The invented head as a file of the user's own."""
    path = folder / name
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    return load(path)


def empty_log(job: Scenario) -> JobLog:
    return JobLog(part_mark(job.part), job.part.name)


def page_plan(job: Scenario, **changes: Any) -> PagePlan:
    """What a page of a made-up plan goes by, dye gone at the far side only; ``changes``: of its marks."""
    plan = page_of_plan(synthetic_plan(job), empty_log(job))
    zones = np.repeat([0.99, 0.5, 0.01], 5)
    stages = tuple(
        replace(stage, looks=tuple(replace(look, zones=zones) for look in stage.looks))
        for stage in plan.stages
    )
    return replace(plan, stages=stages, marks=replace(plan.marks, **changes))


def entry(n: int, minute: int, phone: str = PHONE, **told: Any) -> dict[str, Any]:
    """An entry as a page writes it."""
    return {"id": f"{phone}-{n}", "when": f"2026-01-05T10:{minute:02d}:00Z", **told}


def block(n: int, minute: int, strokes: int = 80, phone: str = PHONE, **told: Any) -> dict[str, Any]:
    return entry(n, minute, phone, **{"strokes": strokes, "paper": "P120", **told})


def page_text(
    job: Scenario, *entries: dict[str, Any], base: int = 0, strokes: int = 0, uncounted: int = 0
) -> str:
    """The text of a page made when the log held ``base`` entries and ``strokes``."""
    marks = tuple(marks_of(job).values())
    head = head_of("0123456789ab", part_mark(job.part), owner_of(job), base, strokes, marks)
    return text_of({**head, "phone": PHONE}, entries, uncounted)


@dataclass(frozen=True)
class RuleCase:
    """A log and the rules that hold of it; ``more``: strokes counted and not written down."""

    name: str
    held: tuple[str, ...]
    entries: tuple[dict[str, Any], ...]
    more: int = 0


def marks_of_rules(job: Scenario) -> StopMarks:
    """Where the rules bite: marks that a log of some entries comes to."""
    return StopMarks(0.8 * job.part.limit, allowance_strokes=400, allowance_mass=2e-3, worse_strokes=900)


def readings(
    job: Scenario,
    stations: dict[str, list[Any]] | None = None,
    *,
    without: tuple[str, ...] = (),
    skipped: dict[str, tuple[int, ...]] | None = None,
) -> list[dict[str, Any]]:
    """All lines of the sheet, a 50 µm leaf going in nowhere but where said ("A3": goes, stops), but for lines
    left out and stations skipped."""
    told, lines = stations or {}, []
    for line in lines_of(job):
        if line.letter in without:
            continue
        places = [
            [round(1e3 * at, 6), *told.get(f"{line.letter}{k}", ["none", 50])]
            for k, at in enumerate(line.at, 1)
            if k not in (skipped or {}).get(line.letter, ())
        ]
        ends = [[round(1e3 * x, 6) for x in end] for end in (line.start, line.end)]
        lines.append({"name": line.name, "from": ends[0], "to": ends[1], "held": "rest", "stations": places})
    return lines


def rule_cases(job: Scenario) -> list[RuleCase]:
    """Every rule on either side of where it bites."""
    weighed = entry(1, 0, part_g=3000.0, scale_g=0.01)
    met, up = readings(job), {"A1": [40, 50]}
    return [
        RuleCase("nothing yet", (), ()),
        RuleCase("only strokes", (), (block(1, 1),)),
        RuleCase("met", ("goal",), (block(1, 1, readings=met),)),
        RuleCase(
            "met, by readings in two entries",
            ("goal",),
            (block(1, 1, readings=readings(job, without=("A",))), entry(2, 2, readings=[met[0]])),
        ),
        RuleCase("met before these strokes", (), (block(1, 1, readings=met), block(2, 2))),
        RuleCase("met, and strokes not written down", (), (block(1, 1, readings=met),), 1),
        RuleCase("a line not read", (), (block(1, 1, readings=readings(job, without=("B",))),)),
        RuleCase(
            "the end of a line not read", (), (block(1, 1, readings=readings(job, skipped={"A": (1, 2)})),)
        ),
        RuleCase(
            "one station not read", ("goal",), (block(1, 1, readings=readings(job, skipped={"A": (2,)})),)
        ),
        RuleCase(
            "a leaf as thick as the limit goes", (), (block(1, 1, readings=readings(job, {"A3": [50, 60]})),)
        ),
        RuleCase("no leaf between", (), (block(1, 1, readings=readings(job, {"A3": [40, 60]})),)),
        RuleCase("open", (), (block(1, 1, readings=readings(job, {"A3": [40, "open"]})),)),
        RuleCase(
            "the same line read again",
            ("goal",),
            (block(1, 1, readings=readings(job, {"A3": [60, 80]})), entry(2, 2, readings=[met[0]])),
        ),
        RuleCase("grams under", (), (weighed, block(2, 1, part_g=2998.01, scale_g=0.01))),
        RuleCase("grams over", ("allowance grams",), (weighed, block(2, 1, part_g=2997.9, scale_g=0.01))),
        RuleCase(
            "grams over, by swarf",
            ("allowance grams",),
            (block(1, 1, swarf_g=1.5, scale_g=0.1), block(2, 2, swarf_g=0.6, scale_g=0.1)),
        ),
        RuleCase(
            "not weighed before the start",
            (),
            (block(1, 1, part_g=3000.0, scale_g=0.01), block(2, 2, part_g=2990.0, scale_g=0.01)),
        ),
        RuleCase("strokes over", ("allowance strokes",), (block(1, 1, 400),)),
        RuleCase("strokes just under", (), (block(1, 1, 399),)),
        RuleCase("strokes over, not written down yet", ("allowance strokes",), (block(1, 1, 399),), 1),
        RuleCase(
            "strokes over, the grams say less", (), (weighed, block(2, 1, 400, part_g=2999.0, scale_g=0.01))
        ),
        RuleCase(
            "strokes over, the grams are of before",
            ("allowance strokes",),
            (weighed, block(2, 1, 399, part_g=2999.0, scale_g=0.01), block(3, 2, 20)),
        ),
        RuleCase("from here on worse", ("allowance strokes", "worse strokes"), (block(1, 1, 900),)),
        RuleCase(
            "a station up",
            ("worse stations",),
            (
                block(1, 1, readings=readings(job, {"A3": [50, 60]})),
                block(2, 2, readings=readings(job, {"A3": [60, 80]})),
            ),
        ),
        RuleCase(
            "one up, one down",
            (),
            (
                block(1, 1, readings=readings(job, {"A3": [50, 60], "B2": [50, 60]})),
                block(2, 2, readings=readings(job, {"A3": [60, 80], "B2": [40, 50]})),
            ),
        ),
        RuleCase(
            "up by a thin leaf only",
            ("goal",),
            (
                block(1, 1, readings=readings(job, {"A1": ["none", 20]})),
                block(2, 2, readings=readings(job, {"A1": [20, 40]})),
            ),
        ),
        RuleCase(
            "up, and the goal still met",
            ("goal", "worse stations"),
            (block(1, 1, readings=readings(job, {"A1": [30, 40]})), block(2, 2, readings=readings(job, up))),
        ),
        RuleCase(
            "taken back",
            (),
            (
                weighed,
                block(2, 1, 400, part_g=2990.0, scale_g=0.01),
                entry(3, 2, takes_back=f"{PHONE}-2"),
                block(4, 3, 20),
            ),
        ),
    ]
