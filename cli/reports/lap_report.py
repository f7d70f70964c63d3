"""What one simulated lap says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import GRAM, KJ, MICRON, MM3, assumed_json, certain, job_json
from handlap.cli.reports.blocks import Block, Bullets, Picture, Report, Section, Table, Words
from handlap.cli.reports.quantity import height, number, off, share, shown
from handlap.cli.reports.wording import (
    AXES,
    FINEST,
    TAPER_SIGNS,
    assumed_section,
    doubts_section,
    dye_signs,
    error_words,
    face_words,
    facts,
    place,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.said import figure, said_of, said_value
from handlap.sim.common.spoken import height_unit, per_height, per_swarf, swarf_unit

if TYPE_CHECKING:
    from handlap.sim.job.results import LapResult

MOST_ROWS = 12
EVEN = 0.01
"""Depths that differ by less than this share of the greatest are called alike."""
CLOSE = 4


def lap_report(result: LapResult) -> Report:
    """The report of one lap."""
    part = result.scenario.part
    f = result.figures
    reading = f.flatness[-1] if part.limit_by == "zone" else f.straightedge[-1]
    met = bool(reading <= part.limit)
    strokes = int(result.strokes[-1])
    why = f" ({result.paper_why})" if result.paper_why else ""
    lead = [
        f"{strokes} strokes on {result.paper}{why} take the flatness from {_um(result.before_flatness)} to "
        f"{_um(f.flatness[-1])}, the straightedge's reading from {_um(result.before_straightedge)} to "
        f"{_um(f.straightedge[-1])}.",
        "One face, middle values, no bands: for a decision use plan.",
    ]
    sections = [_outcome(result), _course(result)]
    sections += doubts_section(result.scenario.warnings, ())
    sections.append(assumed_section(result.scenario, varied=False))
    rows = facts(
        ("Numerical error", error_words(result.errors, result.scenario.system)),
        ("u and v", AXES),
        ("Account", _account(result)),
    )
    notes = Bullets(tuple(sentence(note) for note in result.notes))
    sections.append(Section("How exact", (rows, notes), aside=True))
    return Report(
        kind="lap",
        answer="Goal met" if met else "Goal not met",
        tone="good" if met else "plain",
        subject=subject(result.scenario),
        lead=tuple(lead),
        sections=tuple(sections),
    )


def _um(value: float) -> str:
    return height(value, CLOSE, FINEST)


def _account(result: LapResult) -> str:
    off_face = f"{shown(result.removed_volume, 'off', 6)} off the face"
    if result.deposited_volume is None:
        return off_face + "; the paper does not age, so what lies on it is not followed"
    return off_face + f", {shown(result.deposited_volume, 'off', 6)} on the paper"


def _outcome(result: LapResult) -> Section:
    part, f, grid = result.scenario.part, result.figures, result.grid
    removed = (result.map_before - result.map_after)[: grid.n_cells]
    most = int(removed.argmax())
    even = float(removed.max() - removed.min()) < EVEN * float(removed.max())
    where = (
        "everywhere alike"
        if even
        else "at " + place(grid.u[most], grid.v[most], part.outline.length, part.outline.width)
    )
    inside = ""
    if part.allowance is not None:
        inside = (
            ", inside the allowance" if f.greatest_depth[-1] <= part.allowance else ", beyond the allowance"
        )
    rows = facts(
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        (
            "Comes off",
            f"at most {_um(f.greatest_depth[-1])}{inside}, {where}; on average {_um(f.mean_depth[-1])}",
        ),
        (
            "Metal",
            f"{off(result.mass[-1], CLOSE)}, {shown(result.removed_volume, 'off', CLOSE)}",
        ),
        (
            "Taper",
            f"along {_um(f.taper_along[-1])}, across {_um(f.taper_across[-1])}; {TAPER_SIGNS}",
        ),
        (
            "Work",
            f"{number(result.minutes)} min of strokes, {shown(result.work, 'energy')}; load times sliding "
            f"{shown(result.load_sliding, 'moment', CLOSE)}",
        ),
        ("Hands", f"held back in {share(result.clipped)} of the work" if result.clipped > 0.0 else None),
    )
    return Section("What comes of it", (rows, *_maps(result)))


def _course(result: LapResult) -> Section:
    f, n = result.figures, len(result.strokes)
    step = (n - 1) / (MOST_ROWS - 1)
    picks = range(n) if n <= MOST_ROWS else sorted({round(i * step) for i in range(MOST_ROWS)})
    heads = (
        "after\nstrokes",
        f"straightedge\n{height_unit()}",
        f"flatness\n{height_unit()}",
        f"mean depth\n{height_unit()}",
        f"metal off\n{swarf_unit()}",
        "dye fading\nor gone, %",
        "dye\ngone, %",
    )
    rows = tuple(
        (
            f"{int(result.strokes[i])}",
            number(per_height() * f.straightedge[i], CLOSE, FINEST),
            number(per_height() * f.flatness[i], CLOSE, FINEST),
            number(per_height() * f.mean_depth[i], CLOSE, FINEST),
            number(per_swarf() * result.mass[i], CLOSE),
            f"{100 * result.dye_faded[i]:.0f}",
            f"{100 * (1.0 - result.dye_left[i]):.0f}",
        )
        for i in picks
    )
    blocks: tuple[Block, ...] = (Table(heads, rows, ()), Words(dye_signs()), *_looks(result))
    return Section("As it goes", blocks)


def _maps(result: LapResult) -> tuple[Picture, Picture]:
    f = result.figures
    return (
        Picture(
            "warp.png",
            "The face before and after, on one scale.",
            f"Maps of the face before and after: flatness {_um(result.before_flatness)} and "
            f"{_um(f.flatness[-1])}.",
        ),
        Picture(
            "depth.png",
            "Where the metal went; the ring marks the deepest spot.",
            f"Map of the metal removed: {_um(f.mean_depth[-1])} on average, "
            f"{_um(f.greatest_depth[-1])} at most.",
        ),
    )


def _looks(result: LapResult) -> tuple[Picture, Picture]:
    return (
        Picture(
            "dye.png",
            "The dye at each look: dark as it was put on, half way fading, light gone; it is put on again "
            "once half of it is gone.",
            "Maps of the dye at each look; at the last it is fading or gone on "
            f"{share(result.dye_faded[-1])} of the face, gone on {share(1.0 - result.dye_left[-1])}.",
        ),
        Picture(
            "course.png",
            "Flatness, the straightedge's reading and the deepest spot against strokes.",
            f"Curves over {int(result.strokes[-1])} strokes; the table above has the same figures.",
        ),
    )


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
            "stroke_minutes": certain(result.minutes),
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
