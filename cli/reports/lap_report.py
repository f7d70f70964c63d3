"""What one simulated lap says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import assumed_json, job_json
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
from handlap.sim.common.said import behind, certain_figure, said_of
from handlap.sim.common.spoken import height_unit, per_height, per_swarf, swarf_unit

if TYPE_CHECKING:
    from handlap.sim.job.results import LapResult

MOST_ROWS = 12
EVEN = 0.01
"""Depths that differ by less than this share of the greatest are called alike."""
CLOSE = 4


def lap_report(result: LapResult) -> Report:
    """The report of one lap."""
    before, after, met = result.before, result.after, result.goal_met
    why = f" ({result.paper_why})" if result.paper_why else ""
    lead = [
        f"{result.effort.strokes} strokes on {result.paper}{why} take the flatness from "
        f"{_um(before.flatness)} to {_um(after.flatness)}, the straightedge's reading from "
        f"{_um(before.straightedge)} to {_um(after.straightedge)}.",
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
    off_face = f"{shown(result.removed.volume, 'off', 6)} off the face"
    if result.deposited is None:
        return off_face + "; the paper does not age, so what lies on it is not followed"
    return off_face + f", {shown(result.deposited, 'off', 6)} on the paper"


def _outcome(result: LapResult) -> Section:
    part, off_it, grid = result.scenario.part, result.removed, result.grid
    removed = (result.map_before - result.map_after)[: grid.n_cells]
    most = int(removed.argmax())
    even = float(removed.max() - removed.min()) < EVEN * float(removed.max())
    where = (
        "everywhere alike"
        if even
        else "at " + place(grid.u[most], grid.v[most], part.outline.length, part.outline.width)
    )
    inside = ""
    if result.inside_allowance is not None:
        inside = ", inside the allowance" if result.inside_allowance else ", beyond the allowance"
    rows = facts(
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        (
            "Comes off",
            f"at most {_um(off_it.greatest)}{inside}, {where}; on average {_um(off_it.mean)}",
        ),
        (
            "Metal",
            f"{off(off_it.mass, CLOSE)}, {shown(off_it.volume, 'off', CLOSE)}",
        ),
        (
            "Taper",
            f"along {_um(off_it.taper_along)}, across {_um(off_it.taper_across)}; {TAPER_SIGNS}",
        ),
        (
            "Work",
            f"{number(result.effort.minutes)} min of strokes, {shown(result.effort.work, 'energy')}; load "
            f"times sliding {shown(result.effort.load_sliding, 'moment', CLOSE)}",
        ),
        ("Hands", f"held back in {share(result.clipped)} of the work" if result.clipped > 0.0 else None),
    )
    return Section("What comes of it", (rows, *_maps(result)))


def _course(result: LapResult) -> Section:
    looks, f, n = result.looks, result.looks.figures, len(result.looks.strokes)
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
            f"{int(looks.strokes[i])}",
            number(per_height() * f.straightedge[i], CLOSE, FINEST),
            number(per_height() * f.flatness[i], CLOSE, FINEST),
            number(per_height() * f.mean_depth[i], CLOSE, FINEST),
            number(per_swarf() * looks.mass[i], CLOSE),
            f"{100 * looks.dye_faded[i]:.0f}",
            f"{100 * looks.dye_gone[i]:.0f}",
        )
        for i in picks
    )
    blocks: tuple[Block, ...] = (Table(heads, rows, ()), Words(dye_signs()), *_looks(result))
    return Section("As it goes", blocks)


def _maps(result: LapResult) -> tuple[Picture, Picture]:
    return (
        Picture(
            "warp.png",
            "The face before and after, on one scale.",
            f"Maps of the face before and after: flatness {_um(result.before.flatness)} and "
            f"{_um(result.after.flatness)}.",
        ),
        Picture(
            "depth.png",
            "Where the metal went; the ring marks the deepest spot.",
            f"Map of the metal removed: {_um(result.removed.mean)} on average, "
            f"{_um(result.removed.greatest)} at most.",
        ),
    )


def _looks(result: LapResult) -> tuple[Picture, Picture]:
    return (
        Picture(
            "dye.png",
            "The dye at each look: dark as it was put on, half way fading, light gone; it is put on again "
            "once half of it is gone.",
            "Maps of the dye at each look; at the last it is fading or gone on "
            f"{share(result.looks.dye_faded[-1])} of the face, gone on {share(result.looks.dye_gone[-1])}.",
        ),
        Picture(
            "course.png",
            "Flatness, the straightedge's reading and the deepest spot against strokes.",
            f"Curves over {result.effort.strokes} strokes; the table above has the same figures.",
        ),
    )


def lap_json(result: LapResult) -> dict[str, Any]:
    """One simulated lap, in the shape of a plan; bands are of no width."""
    columns = {
        **said_of(result.looks.figures, "flatness straightedge mean_depth greatest_depth"),
        **said_of(result.looks, "mass dye_left dye_faded dye_gone"),
    }
    found = said_of(
        result,
        "paper paper_why before after removed deposited effort goal_met inside_allowance "
        "clipped tipped errors notes",
    )
    # What is not strokes is not counted here.
    effort = behind(found["effort"], "minutes", stroke_minutes=found["effort"]["minutes"])
    checks = [
        {"strokes": int(n), **{name: certain_figure(values[i]) for name, values in columns.items()}}
        for i, n in enumerate(result.looks.strokes)
    ]
    found = behind(
        found | {"effort": effort}, "inside_allowance", checks=checks, assumed=assumed_json(result.scenario)
    )
    return {"schema": "handlap.simulate/1", **job_json(result.scenario), **found}
