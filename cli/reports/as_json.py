"""Results as one JSON object: the units of the file and the screen, absent is null."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.assumptions import assumptions_of
from handlap.sim.common.said import behind, figure, said_of, said_value

if TYPE_CHECKING:
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.results import Band, LapResult, Plan
    from handlap.sim.job.scenario import Scenario

FORMS = {"plan": 2, "replan": 2, "trial": 2}
"""Commands whose JSON is no longer of its first form."""
MICRON, MM, GRAM, MM2, MM3, KJ = 1e6, 1e3, 1e3, 1e6, 1e9, 1e-3
OF_LAPS = (
    "after removed effort finish best_point curve members_mean_depth_um members_mass_g wobble_held_back "
    "press_off_the_face errors another_seed plate spring_back"
)
"""Keys of a plan that say nothing where the face is left as it is."""


def schema_of(command: str) -> str:
    """The name and form of the JSON of a command."""
    return f"handlap.{command}/{FORMS.get(command, 1)}"


def dumps(result: dict[str, Any]) -> str:
    """The object as text, without NaN."""
    return json.dumps(result, allow_nan=False, ensure_ascii=False, indent=1)


def band(value: Band | None, factor: float = 1.0) -> dict[str, float | None] | None:
    """A band in another unit."""
    return None if value is None else said_of(value, factor=factor)


def certain(value: float, factor: float = 1.0) -> dict[str, float | None]:
    """A figure with nothing uncertain, in the shape of a band."""
    return dict.fromkeys(("p05", "p50", "p95"), figure(value, factor))


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


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan; of a face that is left as it is, what laps would do to it is null."""
    found = behind(said_of(plan), "curve", assumed=assumed_json(plan.scenario))
    if plan.verdict.answer == "leave":
        found |= dict.fromkeys(OF_LAPS.split())
        found |= {"stages": [], "papers_tried": [], "papers_alike": []}
        found["chance"] |= {"goal": None, "allowance": None, "both": None}
    return {"schema": schema_of("plan"), **job_json(plan.scenario), **found}


def lap_json(result: LapResult) -> dict[str, Any]:
    """One simulated lap, in the shape of a plan; bands are of no width."""
    f, part = result.figures, result.scenario.part
    reading = f.flatness[-1] if part.limit_by == "zone" else f.straightedge[-1]
    read = said_of(f, "flatness straightedge")
    looks = {
        **read,
        **said_of(f, "mean_depth greatest_depth"),
        "mass_g": said_value(result.mass, GRAM),
        "dye_left": said_value(result.dye_left),
        "dye_faded": said_value(result.dye_faded),
        "dye_gone": said_value(1.0 - result.dye_left),
    }
    return {
        "schema": "handlap.simulate/1",
        **job_json(result.scenario),
        "paper": result.paper,
        "paper_why": result.paper_why or None,
        "before": {
            "flatness_um": certain(result.before_flatness, MICRON),
            "straightedge_um": certain(result.before_straightedge, MICRON),
        },
        "after": _row(read, -1),
        "removed": {
            "greatest_um": certain(f.greatest_depth[-1], MICRON),
            "mean_um": certain(f.mean_depth[-1], MICRON),
            **_row(said_of(f, "taper_along taper_across"), -1),
            "mass_g": certain(result.mass[-1], GRAM),
            "volume_mm3": certain(result.removed_volume, MM3),
        },
        "deposited_volume_mm3": figure(result.deposited_volume, MM3),
        "effort": {
            "strokes": certain(float(result.strokes[-1])),
            "minutes": certain(result.minutes),
            "work_kj": certain(result.work, KJ),
            "load_sliding_nm": figure(result.load_sliding),
        },
        "goal_met": bool(reading <= part.limit),
        "inside_allowance": None if part.allowance is None else bool(f.greatest_depth[-1] <= part.allowance),
        "checks": [{"strokes": int(n), **_row(looks, i)} for i, n in enumerate(result.strokes)],
        "assumed": assumed_json(result.scenario),
        "wobble_held_back": figure(result.clipped),
        "press_off_the_face": figure(result.tipped),
        "errors": said_of(result.errors),
        "notes": list(result.notes),
    }


def _row(columns: dict[str, Any], i: int) -> dict[str, Any]:
    """One row of columns of figures with nothing uncertain."""
    return {name: certain(values[i]) for name, values in columns.items()}


def _reading_error(scenario: Scenario) -> dict[str, Any]:
    table = scenario.readings.table
    assert table is not None
    return {
        "reading_error_um": figure(table.sd, MICRON),
        "reading_error_assumed": table.sd_assumed,
        "step_of_digits_um": figure(table.step, MICRON) if table.step else None,
    }


def survey_json(scenario: Scenario, found: Survey) -> dict[str, Any]:
    """What a survey found."""
    cells = found.grid.n_cells
    bands, verdict, extra, table = found.bands, found.verdict, found.next_line, found.table
    return {
        "schema": "handlap.survey/1",
        **job_json(scenario),
        "members": found.ensemble.count,
        "settled": found.ensemble.converged,
        "agreement_of_chains": figure(found.ensemble.r_hat),
        "verdict": {
            "answer": verdict.answer,
            "goes_by": verdict.goes_by,
            "reasons": [verdict.reason],
            "to_find_out": list(verdict.to_find_out),
        },
        "chance": {
            "limit": figure(verdict.chance),
            "as_zone": figure(verdict.zone_chance),
            "as_straightedge": figure(verdict.straightedge_chance),
        },
        "shape": said_of(found.shape),
        **said_of(bands),
        "table": None
        if table is None
        else {
            "points": table.points,
            **_reading_error(scenario),
            "minimum_zone_um": figure(table.minimum_zone, MICRON),
            "minimum_zone_between_points_um": band(bands.flatness, MICRON),
            "peak_to_valley_least_squares_um": figure(table.peak_to_valley, MICRON),
        },
        "contradictions": said_value(found.contradictions),
        "next_line": None
        if extra is None
        else {
            "name": extra.line.name,
            "from_mm": said_value(extra.line.start, MM),
            "to_mm": said_value(extra.line.end, MM),
            **said_of(extra, "explained factor helps words"),
        },
        "map": {
            "u_mm": said_value(found.grid.u[:cells], MM),
            "v_mm": said_value(found.grid.v[:cells], MM),
            "mean_um": said_value(found.mean_map[:cells], MICRON),
            "sd_um": said_value(found.sd_map[:cells], MICRON),
        },
        "notes": list(found.notes),
    }
