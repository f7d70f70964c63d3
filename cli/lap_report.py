"""What one simulated lap says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlap.cli.blocks import Block, Picture, Report, Section, Table
from handlap.cli.quantity import number, share
from handlap.cli.wording import (
    AXES,
    GRAM,
    MICRON,
    assumed_section,
    doubts_section,
    error_words,
    face_words,
    facts,
    place,
    subject,
    wanted_words,
)

if TYPE_CHECKING:
    from handlap.sim.results import LapResult

MOST_ROWS = 12
CLOSE = 4


def lap_report(result: LapResult) -> Report:
    """The report of one lap."""
    part = result.scenario.part
    f = result.figures
    reading = f.flatness[-1] if part.limit_by == "zone" else f.straightedge[-1]
    met = bool(reading <= part.limit)
    strokes = int(result.strokes[-1])
    lead = [
        f"{strokes} strokes on {result.paper} take the flatness from {_um(result.before_flatness)} to "
        f"{_um(f.flatness[-1])}, the straightedge's reading from {_um(result.before_straightedge)} to "
        f"{_um(f.straightedge[-1])}.",
        "One face, middle values, no bands: for a decision use plan.",
    ]
    sections = [_outcome(result), _course(result)]
    sections += doubts_section(result.scenario.warnings, result.notes)
    sections.append(assumed_section(result.scenario, varied=False))
    rows = facts(("Numerical error", error_words(result.errors)), ("Positions", AXES), ("Account", _account(result)))
    sections.append(Section("How exact", (rows,), aside=True))
    return Report(
        kind="lap",
        answer="Goal met" if met else "Goal not met",
        tone="good" if met else "plain",
        subject=subject(result.scenario),
        lead=tuple(lead),
        sections=tuple(sections),
    )


def _um(height: float) -> str:
    return f"{number(MICRON * height, CLOSE)} µm"


def _account(result: LapResult) -> str:
    off = f"{number(1e9 * result.removed_volume, 6)} mm³ off the face"
    if result.deposited_volume is None:
        return off + "; the paper does not age, so what lies on it is not followed"
    return off + f", {number(1e9 * result.deposited_volume, 6)} mm³ on the paper"


def _outcome(result: LapResult) -> Section:
    part, f, grid = result.scenario.part, result.figures, result.grid
    removed = (result.map_before - result.map_after)[: grid.n_cells]
    most = int(removed.argmax())
    where = place(grid.u[most], grid.v[most], part.outline.length, part.outline.width)
    inside = ""
    if part.allowance is not None:
        inside = ", inside the allowance" if f.greatest_depth[-1] <= part.allowance else ", beyond the allowance"
    rows = facts(
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        ("Comes off", f"at most {_um(f.greatest_depth[-1])}{inside}, at {where}; on average {_um(f.mean_depth[-1])}"),
        ("Metal", f"{number(GRAM * result.mass[-1], CLOSE)} g, {number(1e9 * result.removed_volume, CLOSE)} mm³"),
        (
            "Taper",
            f"along {_um(f.taper_along[-1])}, across {_um(f.taper_across[-1])}; + is more off at the right, at "
            "the far side",
        ),
        (
            "Work",
            f"{number(result.minutes)} min, {number(1e-3 * result.work)} kJ; load times sliding "
            f"{number(result.load_sliding, CLOSE)} N·m",
        ),
        ("Hands", f"held back in {share(result.clipped)} of the work" if result.clipped > 0.0 else None),
    )
    return Section("What comes of it", (rows, Picture("warp.png", ""), Picture("depth.png", "")))


def _course(result: LapResult) -> Section:
    f, n = result.figures, len(result.strokes)
    step = (n - 1) / (MOST_ROWS - 1)
    picks = range(n) if n <= MOST_ROWS else sorted({round(i * step) for i in range(MOST_ROWS)})
    heads = ("after\nstrokes", "straightedge\nµm", "flatness\nµm", "mean depth\nµm", "metal off\ng", "dye left\n%")
    rows = tuple(
        (
            f"{int(result.strokes[i])}",
            number(MICRON * f.straightedge[i], CLOSE),
            number(MICRON * f.flatness[i], CLOSE),
            number(MICRON * f.mean_depth[i], CLOSE),
            number(GRAM * result.mass[i], CLOSE),
            f"{100 * result.dye_left[i]:.0f}",
        )
        for i in picks
    )
    blocks: tuple[Block, ...] = (Table(heads, rows, ()), Picture("dye.png", ""), Picture("course.png", ""))
    return Section("As it goes", blocks)
