"""What a plan says, in the order in which a person at the bench asks it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from handlap.cli.blocks import Block, Bullets, Picture, Report, Section, Table, Words
from handlap.cli.quantity import counted, number, quantity, share, spread_words
from handlap.cli.wording import (
    AXES,
    BAND_WORDS,
    GRAM,
    MICRON,
    TURNS,
    assumed_section,
    doubts_section,
    ends,
    error_words,
    every,
    face_words,
    facts,
    place,
    roughness,
    subject,
    wanted_words,
)

if TYPE_CHECKING:
    from handlap.sim.results import Plan, StagePlan

Tone = Literal["good", "doubt", "bad", "plain"]
ANSWERS: dict[str, tuple[str, Tone]] = {
    "leave": ("Leave it as it is", "good"),
    "lap": ("Lap it by hand", "good"),
    "cannot tell": ("Cannot tell yet", "doubt"),
    "machine shop": ("Take it to a machine shop", "bad"),
}
MOST_ROWS = 12
"""Checks shown in a terminal; the page and the JSON have all."""


def plan_report(plan: Plan, *, all_checks: bool = False) -> Report:
    """The report of a plan; ``all_checks``: leave no check out."""
    answer, tone = ANSWERS[plan.verdict.answer]
    sections: list[Section] = []
    if plan.verdict.to_find_out:
        sections.append(Section("To find out", (Bullets(plan.verdict.to_find_out),)))
    sections += _work(plan, all_checks)
    sections.append(_outcome(plan))
    sections += doubts_section(plan.scenario.warnings, plan.survey_notes)
    if plan.cautions:
        sections.append(Section("Take care", (Bullets(plan.cautions),)))
    sections.append(assumed_section(plan.scenario))
    sections.append(_how_sure(plan))
    return Report(
        kind="plan",
        answer=answer,
        tone=tone,
        subject=subject(plan.scenario),
        lead=plan.verdict.reasons,
        sections=tuple(sections),
    )


def _work(plan: Plan, all_checks: bool) -> list[Section]:
    if not any(stage.strokes for stage in plan.stages):
        return []
    lapped = plan.verdict.answer == "lap"
    title = "At the bench" if lapped else "If it is lapped all the same"
    heads = ("paper", "strokes\n(range)", "turn\nevery", "brush\nevery", "new sheet\nevery", "sheets", "leaves Ra\nµm")
    rows = tuple(
        (
            stage.paper,
            f"{stage.strokes} ({spread_words(stage.strokes_band, whole=True)})",
            every(stage.turn_every),
            every(stage.brush_every),
            every(stage.sheet_every),
            f"{stage.sheets}",
            roughness(stage.roughness).removeprefix("Ra ").removesuffix(" µm"),
        )
        for stage in plan.stages
        if stage.strokes
    )
    blocks: list[Block] = [Table(heads, rows), Bullets(_stage_words(plan))]
    sections = [Section(title, tuple(blocks))]
    looks = _checks(plan, all_checks)
    return [*sections, looks] if looks else sections


def _stage_words(plan: Plan) -> tuple[str, ...]:
    strokes = plan.scenario.strokes
    how = "wet" if plan.scenario.paper.wet else "dry"
    first = (
        f"Strokes are there and back, {number(1e3 * strokes.length)} mm each way; intervals are in strokes; "
        f"the paper is used {how}."
    )
    words = [first]
    turnings = {stage.turning for stage in plan.stages if stage.strokes and stage.turn_every}
    words += [f"Turning: {TURNS.get(name, name)}." for name in sorted(turnings)]
    words += [f"{stage.paper}: {_sentence(stage.purpose)}" for stage in plan.stages if stage.strokes and stage.purpose]
    return tuple(words)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."


def _shown(stage: StagePlan, most: int) -> list[int]:
    """Indices of the checks to show: the first, the last, and some in between."""
    n = len(stage.checks)
    if n <= most:
        return list(range(n))
    step = (n - 1) / (most - 1)
    return sorted({round(i * step) for i in range(most)})


def _checks(plan: Plan, all_checks: bool) -> Section | None:
    total = sum(len(stage.checks) for stage in plan.stages)
    if not total:
        return None
    heads = ("after\nstrokes", "paper", "straightedge\nµm", "flatness\nµm", "metal off\ng", "dye left\n%", "goal\nmet")
    rows = []
    for stage in plan.stages:
        most = total if all_checks else max(2, round(MOST_ROWS * len(stage.checks) / total))
        for i in _shown(stage, most):
            check = stage.checks[i]
            rows.append(
                (
                    f"{check.strokes}",
                    check.paper,
                    ends(check.straightedge, MICRON),
                    ends(check.flatness, MICRON),
                    ends(check.mass, GRAM),
                    ends(check.dye_left, 100.0),
                    share(check.reached),
                )
            )
    words = (
        "Clean the face, look at the dye, lay the straightedge, weigh what came off, then dye it again. "
        "Stop as soon as the goal is met."
    )
    if len(rows) < total:
        words += f" {len(rows)} of {total} checks are shown; --out and --json give all."
    return Section("Stop and look", (Words(words), Table(heads, tuple(rows), (1,)), Picture("dye.png", "")))


def _outcome(plan: Plan) -> Section:
    part = plan.scenario.part
    length, width = part.outline.length, part.outline.width
    worked = any(stage.strokes for stage in plan.stages)
    rows: list[tuple[str, str | None]] = [
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        ("Flatness", _change(plan.before_flatness, plan.after_flatness, worked)),
        ("Straightedge", _change(plan.before_straightedge, plan.after_straightedge, worked)),
        ("Flat already", f"chance {share(plan.chance_flat_already)}"),
    ]
    if worked:
        rows += [
            ("Chance", _chances(plan)),
            (
                "Comes off",
                f"at most {quantity(plan.removed_greatest.scaled(MICRON), 'µm')}, at "
                f"{place(*plan.greatest_at, length, width)}; on average "
                f"{quantity(plan.removed_mean.scaled(MICRON), 'µm')}",
            ),
            ("Metal", f"{quantity(plan.removed_mass.scaled(GRAM), 'g')}, {quantity(plan.removed_volume.scaled(1e9), 'mm³')}"),
            (
                "Taper",
                f"along {quantity(plan.removed_taper_along.scaled(MICRON), 'µm')}, across "
                f"{quantity(plan.removed_taper_across.scaled(MICRON), 'µm')}; + is more off at the right, at the far side",
            ),
            (
                "Work",
                f"{quantity(plan.strokes, 'strokes', whole=True)}, {quantity(plan.minutes, 'min')}, "
                f"{quantity(plan.work.scaled(1e-3), 'kJ')} at {quantity(plan.power, 'W')}; "
                f"{counted(plan.sheets, 'sheet')}, {counted(plan.brushings, 'brushing')}",
            ),
            ("Finish", roughness(plan.finish) + _gasket(plan)),
            ("Best point", _best(plan)),
        ]
    blocks: list[Block] = [facts(*rows)]
    if worked:
        blocks += [Picture("warp.png", ""), Picture("depth.png", ""), Picture("course.png", "")]
    else:
        blocks.append(Picture("warp.png", ""))
    return Section("What comes of it" if worked else "The face", tuple(blocks))


def _change(before: object, after: object, worked: bool) -> str:
    from handlap.sim.results import Band

    assert isinstance(before, Band) and isinstance(after, Band)
    now = f"now {quantity(before.scaled(MICRON), 'µm')}"
    return f"{now}; after the work {quantity(after.scaled(MICRON), 'µm')}" if worked else now


def _chances(plan: Plan) -> str:
    words = f"to reach the goal {share(plan.chance_goal)}"
    if plan.chance_allowance is None:
        return words
    return f"{words}; to stay inside the allowance {share(plan.chance_allowance)}; both {share(plan.chance_both)}"


def _gasket(plan: Plan) -> str:
    asked = plan.scenario.part.gasket_ra
    if asked is None:
        return "; what the gasket asks is not stated"
    fits = {True: "suits", False: "does not suit", None: "may or may not suit"}[plan.finish_fits]
    return f"; {fits} the gasket ({roughness(asked)})"


def _best(plan: Plan) -> str | None:
    best = plan.best_point
    if best is None:
        return "not reached within the work planned: more strokes would still make it flatter"
    return (
        f"after {best.strokes} strokes, flatness {quantity(best.flatness.scaled(MICRON), 'µm')}; from there the "
        f"next block makes it worse with a chance of {share(best.worse_after)}"
    )


def _how_sure(plan: Plan) -> Section:
    rows: list[tuple[str, str | None]] = [
        ("Bands", f"{plan.members} faces and pairs of hands that fit what is known; seed {plan.seed}. {BAND_WORDS}"),
        ("Numerical error", error_words(plan.errors)),
        ("Thresholds", "; ".join(f"{name} {number(value)}" for name, value in plan.verdict.thresholds.items())),
        ("Positions", AXES),
    ]
    if plan.clipped > 0.0:
        rows.append(
            (
                "Hands",
                f"in {share(plan.clipped)} of the work the wobble would have tipped the part; the hands are "
                "taken to catch it at the edge",
            )
        )
    if plan.tipped > 0.0:
        rows.append(("Tipping", f"in {share(plan.tipped)} of the work the mean press lies off the face"))
    return Section("How sure", (facts(*rows),), aside=True)
