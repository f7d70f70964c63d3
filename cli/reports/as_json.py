"""Results as one JSON object: the units of the file and the screen, absent is null."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.assumptions import Assumption, assumptions_of

if TYPE_CHECKING:
    from handlap.sim.bench.standing import LimitHeld
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.results import (
        AnotherDraw,
        Band,
        BestPoint,
        Check,
        Errors,
        LapResult,
        PaperTrial,
        Plan,
        PlateEffect,
        SpringBack,
        StagePlan,
    )
    from handlap.sim.job.scenario import Scenario

DIGITS = 7
"""Significant digits written."""
FORMS = {"plan": 2, "replan": 2, "trial": 2}
"""Commands whose JSON is no longer of its first form."""
MICRON, MM, GRAM, MM2, MM3, KJ = 1e6, 1e3, 1e3, 1e6, 1e9, 1e-3


def schema_of(command: str) -> str:
    """The name and form of the JSON of a command."""
    return f"handlap.{command}/{FORMS.get(command, 1)}"


def dumps(result: dict[str, Any]) -> str:
    """The object as text, without NaN."""
    return json.dumps(result, allow_nan=False, ensure_ascii=False, indent=1)


def figure(value: float | None, factor: float = 1.0) -> float | None:
    """A number in another unit; null where there is none."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{float(value) * factor:.{DIGITS}g}")


def band(value: Band | None, factor: float = 1.0) -> dict[str, float | None] | None:
    """A band in another unit."""
    if value is None:
        return None
    return {name: figure(getattr(value, name), factor) for name in ("p05", "p50", "p95")}


def certain(value: float, factor: float = 1.0) -> dict[str, float | None]:
    """A figure with nothing uncertain, in the shape of a band."""
    return dict.fromkeys(("p05", "p50", "p95"), figure(value, factor))


def _pair(values: tuple[float, float] | None, factor: float) -> list[float | None] | None:
    return None if values is None else [figure(value, factor) for value in values]


def _assumed(assumption: Assumption) -> dict[str, Any]:
    return {
        "key": assumption.key,
        "value": assumption.value,
        "unit": assumption.unit or None,
        "spread": None
        if assumption.low is None
        else {"p05": figure(assumption.low), "p95": figure(assumption.high)},
        "basis": assumption.basis,
    }


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


def limits_json(limits: Sequence[LimitHeld]) -> list[dict[str, Any]]:
    """Limits of a part as it is now, each met, not met, or not to be told."""
    return [
        {"name": x.name, "answer": x.answer, "reason": x.reason, "chance": figure(x.chance)} for x in limits
    ]


def errors_json(errors: Errors) -> dict[str, Any]:
    """How finely it was computed, and the errors measured.

    ``step_um``: how far the map's worst spot moves with twice the rows; the others, of what is reported: by
    rows and cells together, of which ``grid_um`` is what the cells make of the flatness.
    """
    return {
        "tolerance_um": figure(errors.tolerance, MICRON),
        "step_um": figure(errors.step, MICRON),
        "grid_um": figure(errors.grid, MICRON),
        "flatness_um": figure(errors.flatness, MICRON),
        "straightedge_um": figure(errors.straightedge, MICRON),
        "greatest_depth_um": figure(errors.greatest_depth, MICRON),
        "mean_depth_um": figure(errors.mean_depth, MICRON),
        "strokes": figure(errors.strokes),
        "cells": errors.cells,
        "rows": errors.rows,
    }


def dye_json(check: Check) -> dict[str, Any]:
    """Shares of the face: dye left (not gone), fading or gone, gone."""
    return {
        "dye_left": band(check.dye_left),
        "dye_faded": band(check.dye_faded),
        "dye_gone": band(check.dye_left.rest),
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "strokes": check.strokes,
        "paper": check.paper,
        "flatness_um": band(check.flatness, MICRON),
        "straightedge_um": band(check.straightedge, MICRON),
        "mean_depth_um": band(check.mean_depth, MICRON),
        "greatest_depth_um": band(check.greatest_depth, MICRON),
        "mass_g": band(check.mass, GRAM),
        **dye_json(check),
        "push_n": band(check.push),
        "power_w": band(check.power),
        "chance_goal_met": figure(check.reached),
        "chance_next_block_worse": figure(check.worse_next),
    }


def _stage(stage: StagePlan) -> dict[str, Any]:
    return {
        "paper": stage.paper,
        "purpose": stage.purpose,
        "strokes": stage.strokes,
        "strokes_band": band(stage.strokes_band),
        "turn_every": stage.turn_every or None,
        "turning": stage.turning,
        "brush_every": stage.brush_every or None,
        "sheet_every": stage.sheet_every or None,
        "sheets": stage.sheets,
        "brushings": stage.brushings,
        "bedding_um": band(stage.bedding, MICRON),
        "roughness_ra_um": _pair(stage.roughness, MICRON),
        "push_fresh_n": band(stage.push_fresh),
        "push_clogged_n": band(stage.push_clogged),
        "checks": [_check(check) for check in stage.checks],
    }


def _best(best: BestPoint | None) -> dict[str, Any] | None:
    if best is None:
        return None
    return {
        "strokes": best.strokes,
        "flatness_um": band(best.flatness, MICRON),
        "chance_worse_after": figure(best.worse_after),
    }


def _column(values: Any, factor: float) -> Any:
    """Rows of a curve in another unit, as nested lists."""
    return [
        [figure(v, factor) for v in row] if isinstance(row, Sequence) else figure(row, factor)
        for row in values.tolist()
    ]


def _curve(plan: Plan) -> dict[str, Any]:
    curve = plan.curve
    return {
        "strokes": [int(n) for n in curve.strokes],
        "flatness_um": _column(curve.flatness, MICRON),
        "straightedge_um": _column(curve.straightedge, MICRON),
        "greatest_depth_um": _column(curve.greatest_depth, MICRON),
        "mean_depth_um": _column(curve.mean_depth, MICRON),
    }


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan; of a face that is left as it is, what laps would do to it is null."""
    laps = plan.verdict.answer != "leave"
    return {
        "schema": schema_of("plan"),
        **job_json(plan.scenario),
        "members": plan.members,
        "seed": plan.seed,
        "verdict": {
            "answer": plan.verdict.answer,
            "reasons": list(plan.verdict.reasons),
            "thresholds": {name: figure(value) for name, value in plan.verdict.thresholds.items()},
            "to_find_out": list(plan.verdict.to_find_out),
        },
        "survey_notes": list(plan.survey_notes),
        "before": {
            "flatness_um": band(plan.before_flatness, MICRON),
            "straightedge_um": band(plan.before_straightedge, MICRON),
        },
        "after": _after(plan) if laps else None,
        "removed": _removed(plan) if laps else None,
        "effort": _effort(plan) if laps else None,
        "chance": {
            "goal": figure(plan.chance_goal) if laps else None,
            "allowance": figure(plan.chance_allowance) if laps else None,
            "both": figure(plan.chance_both) if laps else None,
            "flat_already": figure(plan.chance_flat_already),
        },
        "finish": _finish(plan) if laps else None,
        "stages": [_stage(stage) for stage in plan.stages] if laps else [],
        "best_point": _best(plan.best_point) if laps else None,
        "curve": _curve(plan) if laps else None,
        "assumed": [_assumed(a) for a in assumptions_of(plan.scenario)],
        "members_mean_depth_um": [figure(d, MICRON) for d in plan.member_mean_depth] if laps else None,
        "members_mass_g": [figure(m, GRAM) for m in plan.member_mass] if laps else None,
        "wobble_held_back": figure(plan.clipped) if laps else None,
        "press_off_the_face": figure(plan.tipped) if laps else None,
        "errors": errors_json(plan.errors) if laps else None,
        "another_seed": _another(plan.another) if laps else None,
        "papers_tried": [_trial(trial) for trial in plan.trials] if laps else [],
        "papers_alike": list(plan.alike) if laps else [],
        "plate": _plate(plan.plate) if laps else None,
        "spring_back": _spring(plan.spring) if laps else None,
        "narrows": [{"what": x.name, "share": figure(x.share), "of": x.of} for x in plan.widens],
        "notes": list(plan.notes),
        "cautions": list(plan.cautions),
    }


def _another(other: AnotherDraw) -> dict[str, Any]:
    """Between what the middle values of another seed lie nine times in ten: pairs; null: not known."""
    return {
        "strokes": _pair(other.strokes, 1.0),
        "minutes": _pair(other.minutes, 1.0),
        "greatest_um": _pair(other.greatest_depth, MICRON),
        "mean_um": _pair(other.mean_depth, MICRON),
    }


def _after(plan: Plan) -> dict[str, Any]:
    return {
        "flatness_um": band(plan.after_flatness, MICRON),
        "straightedge_um": band(plan.after_straightedge, MICRON),
    }


def _removed(plan: Plan) -> dict[str, Any]:
    return {
        "greatest_um": band(plan.removed_greatest, MICRON),
        "greatest_at_mm": _pair(plan.greatest_at, MM),
        "mean_um": band(plan.removed_mean, MICRON),
        "taper_along_um": band(plan.removed_taper_along, MICRON),
        "taper_across_um": band(plan.removed_taper_across, MICRON),
        "mass_g": band(plan.removed_mass, GRAM),
        "volume_mm3": band(plan.removed_volume, MM3),
    }


def _effort(plan: Plan) -> dict[str, Any]:
    return {
        "strokes": band(plan.strokes),
        "minutes": band(plan.minutes),
        **{name: band(minutes) for name, minutes in plan.minutes_of.items()},
        "work_kj": band(plan.work, KJ),
        "power_w": band(plan.power),
        "sheets": plan.sheets,
        "brushings": plan.brushings,
    }


def _finish(plan: Plan) -> dict[str, Any]:
    return {"roughness_ra_um": _pair(plan.finish, MICRON), "fits_gasket": plan.finish_fits}


def _trial(trial: PaperTrial) -> dict[str, Any]:
    return {
        "paper": trial.paper,
        "finer": list(trial.finer),
        "members": trial.tried,
        "minutes": band(trial.minutes),
        "sheets": figure(trial.sheets) if trial.tried else None,
        "mass_g": None if trial.metal is None else band(trial.metal, GRAM),
        "chance_both": figure(trial.chance_both),
        "quicker_than_taken": figure(trial.quicker),
    }


def _plate(effect: PlateEffect | None) -> dict[str, Any] | None:
    if effect is None:
        return None
    return {
        "added_um": band(effect.added, MICRON),
        "floor_um": band(effect.floor, MICRON),
        "floor_true_um": band(effect.floor_true, MICRON),
        "chance_goal": figure(effect.chance_goal),
        "chance_goal_true": figure(effect.chance_goal_true),
    }


def _spring(spring: SpringBack | None) -> dict[str, Any] | None:
    if spring is None:
        return None
    return {
        "flexed_um": figure(spring.flexed, MICRON),
        "comes_back_um": figure(spring.comes_back, MICRON),
        "flatness_um": figure(spring.flatness, MICRON),
        "flatness_rigid_um": figure(spring.flatness_rigid, MICRON),
        "flatness_backed_um": figure(spring.flatness_backed, MICRON),
        "asked_um": figure(spring.asked, MICRON),
        "largest_press_n": figure(spring.largest_press),
    }


def lap_json(result: LapResult) -> dict[str, Any]:
    """One simulated lap, in the shape of a plan; bands are of no width."""
    f, part = result.figures, result.scenario.part
    reading = f.flatness[-1] if part.limit_by == "zone" else f.straightedge[-1]
    return {
        "schema": "handlap.simulate/1",
        **job_json(result.scenario),
        "paper": result.paper,
        "paper_why": result.paper_why or None,
        "before": {
            "flatness_um": certain(result.before_flatness, MICRON),
            "straightedge_um": certain(result.before_straightedge, MICRON),
        },
        "after": {
            "flatness_um": certain(f.flatness[-1], MICRON),
            "straightedge_um": certain(f.straightedge[-1], MICRON),
        },
        "removed": {
            "greatest_um": certain(f.greatest_depth[-1], MICRON),
            "mean_um": certain(f.mean_depth[-1], MICRON),
            "taper_along_um": certain(f.taper_along[-1], MICRON),
            "taper_across_um": certain(f.taper_across[-1], MICRON),
            "mass_g": certain(result.mass[-1], GRAM),
            "volume_mm3": certain(result.removed_volume, MM3),
        },
        "deposited_volume_mm3": figure(result.deposited_volume, MM3),
        "effort": {
            "strokes": certain(float(result.strokes[-1])),
            "minutes": certain(result.minutes),
            "stroke_minutes": certain(result.minutes),
            "work_kj": certain(result.work, KJ),
            "load_sliding_nm": figure(result.load_sliding),
        },
        "goal_met": bool(reading <= part.limit),
        "inside_allowance": None if part.allowance is None else bool(f.greatest_depth[-1] <= part.allowance),
        "checks": [
            {
                "strokes": int(result.strokes[i]),
                "flatness_um": certain(f.flatness[i], MICRON),
                "straightedge_um": certain(f.straightedge[i], MICRON),
                "mean_depth_um": certain(f.mean_depth[i], MICRON),
                "greatest_depth_um": certain(f.greatest_depth[i], MICRON),
                "mass_g": certain(result.mass[i], GRAM),
                "dye_left": certain(result.dye_left[i]),
                "dye_faded": certain(result.dye_faded[i]),
                "dye_gone": certain(1.0 - result.dye_left[i]),
            }
            for i in range(len(result.strokes))
        ],
        "assumed": [_assumed(a) for a in assumptions_of(result.scenario)],
        "wobble_held_back": figure(result.clipped),
        "press_off_the_face": figure(result.tipped),
        "errors": errors_json(result.errors),
        "notes": list(result.notes),
    }


def _line(line: Any) -> dict[str, Any]:
    return {"name": line.name, "from_mm": _pair(line.start, MM), "to_mm": _pair(line.end, MM)}


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
        "shape": {
            "word": found.shape.word,
            "chance": figure(found.shape.chance),
            "chances": {word: figure(chance) for word, chance in found.shape.chances.items()},
            "words": found.shape.words,
        },
        "flatness_um": band(bands.flatness, MICRON),
        "straightedge_um": band(bands.straightedge, MICRON),
        "peak_to_valley_least_squares_um": band(bands.peak_to_valley, MICRON),
        "mean_depth_to_clear_um": band(bands.depth_to_clear, MICRON),
        "bow_along_um": band(bands.bow_along, MICRON),
        "bow_across_um": band(bands.bow_across, MICRON),
        "twist_um": band(bands.twist, MICRON),
        "table": None
        if table is None
        else {
            "points": table.points,
            **_reading_error(scenario),
            "minimum_zone_um": figure(table.minimum_zone, MICRON),
            "minimum_zone_between_points_um": band(bands.flatness, MICRON),
            "peak_to_valley_least_squares_um": figure(table.peak_to_valley, MICRON),
        },
        "contradictions": [
            {
                "line": c.line,
                "at_mm": figure(c.at, MM),
                "goes_um": figure(c.goes, MICRON),
                "stops_um": figure(c.stops, MICRON),
                "chance": figure(c.chance),
                "words": c.words,
            }
            for c in found.contradictions
        ],
        "next_line": None
        if extra is None
        else {
            **_line(extra.line),
            "explained": figure(extra.explained),
            "band_factor": figure(extra.factor),
            "helps": extra.helps,
            "words": extra.words,
        },
        "map": {
            "u_mm": [figure(u, MM) for u in found.grid.u[: found.grid.n_cells]],
            "v_mm": [figure(v, MM) for v in found.grid.v[: found.grid.n_cells]],
            "mean_um": [figure(h, MICRON) for h in found.mean_map[: found.grid.n_cells]],
            "sd_um": [figure(h, MICRON) for h in found.sd_map[: found.grid.n_cells]],
        },
        "notes": list(found.notes),
    }
