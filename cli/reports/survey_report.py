"""What a survey says of a face."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handlap.cli.drawing.face_drawing import face_drawing
from handlap.cli.reports.as_json import MICRON, MM, band, job_json
from handlap.cli.reports.blocks import Block, Bullets, Picture, Report, Section, Tone, Words
from handlap.cli.reports.quantity import chance, height, number, stated_height, stated_length
from handlap.cli.reports.wording import (
    AXES,
    BAND_WORDS,
    LIMIT,
    doubts_section,
    face_words,
    facts,
    microns,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.chance import likely
from handlap.sim.common.said import figure, said_of, said_value
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.face.survey import SURE

if TYPE_CHECKING:
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.scenario import HeightTable, Scenario

ANSWERS: dict[str, tuple[str, Tone]] = {
    "yes": ("Flat enough", "good"),
    "no": ("Not flat enough", "bad"),
    "cannot tell": ("Cannot tell whether it is flat enough", "doubt"),
}
COLUMNS = 72
NINETY = 1.645
"""Standard deviations on either side that hold 90 of 100."""


def survey_report(scenario: Scenario, found: Survey) -> Report:
    """The report of a survey."""
    answer, tone = ANSWERS[found.verdict.answer]
    if found.verdict.answer == "cannot tell" and 1.0 - SURE < found.verdict.chance < SURE:
        answer = f"{answer}: {likely(found.verdict.chance)}"
    sections = [_face(scenario, found)]
    if found.verdict.to_find_out:
        items = tuple(sentence(what) for what in found.verdict.to_find_out)
        sections.append(Section("To find out", (Bullets(items),)))
    if found.contradictions:
        lead = Words(
            "These do not fit the rest. Nothing was left out: read them again and run the survey again."
        )
        items = tuple(
            f"{c.line} at {stated_length(c.at)}: {_reading(c.goes, c.stops)}; "
            f"wrong with a chance of {chance(c.chance)}"
            for c in found.contradictions
        )
        sections.append(Section("Read again", (lead, Bullets(items))))
    sections += doubts_section(scenario.warnings, found.notes)
    if found.next_line is not None:
        sections.append(Section("What more to read", (Words(sentence(found.next_line.words)),)))
    sections.append(_how_sure(found))
    return Report(
        kind="survey",
        answer=answer,
        tone=tone,
        subject=subject(scenario),
        lead=(sentence(found.verdict.reason), *_two_figures(scenario, found)),
        sections=tuple(sections),
    )


def _two_figures(scenario: Scenario, found: Survey) -> tuple[str, ...]:
    """What the points of a table say alone beside what the face may be; nothing for lines."""
    table, read = found.table, scenario.readings.table
    if table is None or read is None:
        return ()
    error = " (errors of reading included)" if read.sd > 0.0 else ""
    return (
        f"As measured, the {table.points} points lie within {height(table.minimum_zone)}{error}. "
        f"As it may be between the points and out to the edge, the face lies within "
        f"{microns(found.bands.flatness)}.",
    )


def _error_words(table: HeightTable | None) -> str | None:
    """How good the heights of a table are, and who says so."""
    if table is None:
        return None
    if table.sd_assumed:
        return (
            f"{stated_height(table.sd)} a height, assumed: half a step of the digits "
            f"({stated_height(table.step)}), at least 1 {height_unit()}. Better stated: readings.heights_sd"
        )
    if table.sd == 0.0:
        return "none, as stated: the heights are taken as exact"
    return f"{stated_height(table.sd)} a height, as stated"


def _reading(goes: float, stops: float) -> str:
    went = f"{stated_height(goes)} goes" if goes > 0.0 else "none goes"
    return (
        f"{went}, nothing thicker tried"
        if stops == float("inf")
        else f"{went}, {stated_height(stops)} does not"
    )


def _face(scenario: Scenario, found: Survey) -> Section:
    bands, table = found.bands, found.table
    measured = None
    if table is not None:
        measured = (
            f"{table.points} points: between two planes (minimum zone) {height(table.minimum_zone, 4)}, "
            f"least-squares peak to valley {height(table.peak_to_valley, 4)}, no model in between"
        )
    between = "" if table is None else ", as it may be between the points and out to the edge"
    rows = facts(
        ("Face", face_words(scenario.part)),
        ("Wanted", wanted_words(scenario.part)),
        ("Shape", found.shape.words),
        ("As measured", measured),
        ("Reading error", _error_words(scenario.readings.table)),
        ("Flatness", f"{microns(bands.flatness)} {LIMIT['zone']}{between}"),
        ("Straightedge", f"{microns(bands.straightedge)}, the worst of six lines"),
        ("Bow along", microns(bands.bow_along) + "; + is crowned, − hollow"),
        ("Bow across", microns(bands.bow_across)),
        ("Twist", microns(bands.twist) + "; + is far right and near left proud"),
        (
            "To clear it",
            f"{microns(bands.depth_to_clear)} off on average, at the best tilt",
        ),
    )
    sd = per_height() * found.sd_map[: found.grid.n_cells]
    mean, worst = number(NINETY * float(sd.mean()), 2), number(NINETY * float(sd.max()), 2)
    sure = (
        f"The map is the middle of {found.ensemble.count} faces. 90 times in 100 it is within ± {mean} "
        f"{height_unit()} on average, ± {worst} {height_unit()} at the worst spot."
    )
    if float(sd.max()) == 0.0:
        sure = "The map is the table of heights, taken as exact."
    blocks: list[Block] = [
        rows,
        face_drawing(found.grid, found.mean_map, COLUMNS),
        Words(sure),
        Picture(
            "map.png",
            "Above: the middle face. Below: how far out it may be, with the places that were read.",
            f"Map of the face. {found.shape.words}. {sure}",
        ),
    ]
    return Section("The face", tuple(blocks))


def _how_sure(found: Survey) -> Section:
    verdict = found.verdict
    limit = f"{stated_height(verdict.limit)}"
    rows: list[tuple[str, str | None]] = [
        ("Limit", f"chance to be within {limit}: {chance(verdict.straightedge_chance)} by the straightedge, "
                  f"{chance(verdict.zone_chance)} {LIMIT['zone']}"),
        ("Bands", BAND_WORDS),
        ("u and v", AXES),
    ]  # fmt: skip
    if found.table is None:
        settled = "settled" if found.ensemble.converged else "did not settle: believe no figure above"
        rows.append(
            ("Search", f"{settled} (agreement of its four ways {found.ensemble.r_hat:.2f}, 1 is perfect)")
        )
    return Section("How sure", (facts(*rows),), aside=True)


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
