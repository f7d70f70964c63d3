"""Results as one JSON object: the units of the file and the screen, absent is null."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.assumptions import assumptions_of
from handlap.sim.common.said import figure, said_of

if TYPE_CHECKING:
    from handlap.sim.job.results import Band
    from handlap.sim.job.scenario import Scenario

FORMS = {"plan": 2, "replan": 2, "trial": 2}
"""Commands whose JSON is no longer of its first form."""
MICRON, MM, GRAM, MM2 = 1e6, 1e3, 1e3, 1e6


def schema_of(command: str) -> str:
    """The name and form of the JSON of a command."""
    return f"handlap.{command}/{FORMS.get(command, 1)}"


def dumps(result: dict[str, Any]) -> str:
    """The object as text, without NaN."""
    return json.dumps(result, allow_nan=False, ensure_ascii=False, indent=1)


def band(value: Band | None, factor: float = 1.0) -> dict[str, float | None] | None:
    """A band in another unit."""
    return None if value is None else said_of(value, factor=factor)


def assumed_json(scenario: Scenario) -> list[dict[str, Any]]:
    """Defaults that the job left in force."""
    return [
        {
            "key": assumption.key,
            "value": assumption.value,
            "unit": assumption.unit or None,
            "spread": None
            if assumption.low is None
            else {"p05": figure(assumption.low), "p95": figure(assumption.high)},
            "basis": assumption.basis,
        }
        for assumption in assumptions_of(scenario)
    ]


def job_json(scenario: Scenario) -> dict[str, Any]:
    """What the job was, for the head of every result."""
    part = scenario.part
    return {
        "scenario": scenario.name,
        "title": scenario.title,
        "source": scenario.source,
        "invented": scenario.invented,
        "warnings": list(scenario.warnings),
        "part": part.name,
        "metal": part.metal.name,
        "limit_um": figure(part.limit, MICRON),
        "limit_by": part.limit_by,
        "allowance_um": figure(part.allowance, MICRON),
        "face_area_mm2": figure(part.outline.area, MM2),
        "density_kg_m3": figure(part.metal.density),
        "past_jobs": past_json(scenario),
    }


def past_json(scenario: Scenario) -> dict[str, Any] | None:
    """What was taken from earlier jobs; null: nothing."""
    past = scenario.past
    if past is None:
        return None
    return {
        "file": past.file,
        "jobs": [
            {
                "job": job.job,
                "when": job.when or None,
                "metal": job.metal,
                "paper": job.paper,
                "fits_the_others": number not in past.strange,
            }
            for number, job in enumerate(past.jobs)
        ],
        "cut_differs_between_jobs_by_factor": figure(past.apart),
    }
