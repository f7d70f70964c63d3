"""What a plan says, in the order in which a person at the bench asks it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import assumed_json, job_json, schema_of
from handlap.cli.reports.blocks import Bullets, Picture, Report, Section, Table, Tone
from handlap.cli.reports.checks_report import checks_section
from handlap.cli.reports.papers_report import papers_section
from handlap.cli.reports.quantity import chance, counted, force, height, quantity, share, shown, spread_words
from handlap.cli.reports.wording import (
    AXES,
    BAND_WORDS,
    TAPER_SIGNS,
    TO_DO,
    TURNS,
    another_words,
    assumed_section,
    doubts_section,
    error_words,
    every,
    face_words,
    facts,
    goal_of,
    microns,
    minutes_words,
    place,
    roughness,
    sentence,
    spread_share,
    subject,
    wanted_words,
)
from handlap.sim.common import spoken
from handlap.sim.common.chance import likely
from handlap.sim.common.said import behind, said_of
from handlap.sim.common.spoken import per, per_swarf, swarf_unit, unit
from handlap.sim.planning.verdict import LAP_AT, LEAVE_AT, NEEDS_WORK_AT, SHOP_AT

if TYPE_CHECKING:
    from handlap.sim.job.results import Band, Plan, StagePlan

ANSWERS: dict[str, tuple[str, Tone]] = {
    "leave": ("Leave it as it is", "good"),
    "lap": ("Lap it by hand", "good"),
    "cannot tell": ("Cannot tell yet", "doubt"),
    "machine shop": ("Take it to a machine shop", "bad"),
}
READ_MORE = "read more stations of the face, and the line that handlap survey names"
LEAF_FELT = 4e-6
"""Figures closer together than a leaf is felt are one [m]."""


def answer_words(plan: Plan) -> tuple[str, Tone]:
    """The answer; where it cannot be told, how likely it is."""
    answer, tone = ANSWERS[plan.verdict.answer]
    if plan.verdict.answer == "cannot tell":
        if NEEDS_WORK_AT < plan.chance.flat_already < LEAVE_AT:
            return f"{answer}. Flat enough already: {likely(plan.chance.flat_already)}", tone
        if SHOP_AT < plan.chance.both < LAP_AT:
            return f"{answer}. By hand: {likely(plan.chance.both)}", tone
    return answer, tone


def plan_report(plan: Plan, *, all_checks: bool = False) -> Report:
    """The report of a plan; ``all_checks``: leave no check out."""
    answer, tone = answer_words(plan)
    sections = [_face(plan)]
    if plan.verdict.to_find_out:
        sections.append(
            Section("To find out", (Bullets(tuple(sentence(what) for what in plan.verdict.to_find_out)),))
        )
    sections += _work(plan, all_checks)
    sections += _outcome(plan)
    sections += doubts_section(plan.scenario.warnings, plan.survey_notes)
    if plan.cautions:
        sections.append(Section("Take care", (Bullets(plan.cautions),)))
    if plan.verdict.answer != "leave":
        sections.append(assumed_section(plan.scenario))
    sections.append(_how_sure(plan))
    return Report(
        kind="plan",
        answer=answer,
        tone=tone,
        subject=subject(plan.scenario),
        lead=tuple(sentence(reason) for reason in plan.verdict.reasons),
        sections=tuple(sections),
    )


def _face(plan: Plan) -> Section:
    part = plan.scenario.part
    rows = facts(
        ("Face", face_words(part)),
        ("Wanted", wanted_words(part)),
        ("Goal", goal_of(plan.scenario)),
        (
            "Now",
            f"flatness {microns(plan.before.flatness)}, straightedge {microns(plan.before.straightedge)}",
        ),
        ("Flat already", f"chance {chance(plan.chance.flat_already)}"),
    )
    return Section("The face", (rows,) if _worked(plan) else (rows, _warp(plan)))


def _worked(plan: Plan) -> bool:
    return plan.verdict.answer != "leave" and any(stage.strokes for stage in plan.stages)


def _warp(plan: Plan) -> Picture:
    if not _worked(plan):
        return Picture(
            "warp.png",
            "The face: of all that fit the readings, the one nearest to the middle.",
            f"Map of the face, flatness {microns(plan.before.flatness)}.",
        )
    before, after = microns(plan.before.flatness), ends_at(plan.after.flatness)
    return Picture(
        "warp.png",
        "The face before and after the work, on one scale: the case nearest to the middle in what came of "
        "it.",
        f"Maps of the face before and after: flatness {before} and {after}.",
    )


def _work(plan: Plan, all_checks: bool) -> list[Section]:
    if not _worked(plan):
        return []
    lapped = plan.verdict.answer == "lap"
    title = "At the bench" if lapped else "If it is lapped all the same"
    heads = (
        "paper",
        "strokes\n(range)",
        "turn\nevery",
        "brush\nevery",
        "new sheet\nevery",
        "sheets",
        f"leaves Ra\n{unit('roughness')}",
    )
    rows = tuple(
        (
            stage.paper,
            _planned(stage),
            every(stage.turn_every),
            every(stage.brush_every),
            every(stage.sheet_every),
            f"{stage.sheets}",
            roughness(stage.roughness).removeprefix("Ra ").removesuffix(f" {unit('roughness')}"),
        )
        for stage in plan.stages
        if stage.strokes
    )
    sections = [Section(title, (Table(heads, rows), Bullets(_stage_words(plan))))]
    sections += [section for section in (papers_section(plan), checks_section(plan, all_checks)) if section]
    return sections


def _planned(stage: StagePlan) -> str:
    span = _ends(stage.strokes_band)
    return f"{stage.strokes} ({span})" if span else f"{stage.strokes}"


def _stage_words(plan: Plan) -> tuple[str, ...]:
    strokes = plan.scenario.strokes
    how = "wet" if plan.scenario.paper.wet else "dry"
    first = (
        f"Strokes are there and back, {spoken.distance(strokes.length)} each way; intervals are in strokes; "
        f"the paper is used {how}."
    )
    words = [first]
    turnings = {stage.turning for stage in plan.stages if stage.strokes and stage.turn_every}
    words += [f"Turning: {TURNS.get(name, name)}." for name in sorted(turnings)]
    words += [
        f"{stage.paper}: {stage.purpose.rstrip('.')}."
        for stage in plan.stages
        if stage.strokes and stage.purpose
    ]
    return tuple(words)


def ends_at(after: Band) -> str:
    """A figure after the work; where it is the one that the work stops at, its spread would say nothing."""
    return height(after.p50, 2) if _is_stop(after) else microns(after)


def _is_stop(after: Band) -> bool:
    return after.p95 - after.p05 < LEAF_FELT


def _stops_at(after: Band) -> str:
    why = ": about there it stops, as leaves are felt" if _is_stop(after) else ""
    return f"{ends_at(after)} after the work{why}"


def _outcome(plan: Plan) -> list[Section]:
    if not _worked(plan):
        return []
    part = plan.scenario.part
    at = place(*plan.removed.greatest_at, part.outline.length, part.outline.width)
    rows = facts(
        ("Flatness", _stops_at(plan.after.flatness)),
        ("Straightedge", _stops_at(plan.after.straightedge)),
        ("Chance", _chances(plan)),
        (
            "Comes off",
            f"at most {microns(plan.removed.greatest)}, most likely at {at}; on average "
            f"{microns(plan.removed.mean)}",
        ),
        (
            "Metal",
            f"{quantity(plan.removed.mass.scaled(per_swarf()), swarf_unit())}, "
            f"{quantity(plan.removed.volume.scaled(per('off')), unit('off'))}",
        ),
        (
            "Taper",
            f"along {microns(plan.removed.taper_along)}, across {microns(plan.removed.taper_across)}; "
            f"{TAPER_SIGNS}",
        ),
        (
            "Work",
            f"{_strokes(plan)}, {quantity(plan.effort.minutes, 'min')}, "
            f"{quantity(plan.effort.work.scaled(per('energy')), unit('energy'))} at "
            f"{quantity(plan.effort.power, 'W')}; {counted(plan.effort.sheets, 'sheet')}, "
            f"{counted(plan.effort.brushings, 'brushing')}",
        ),
        ("Minutes", minutes_words(plan.effort.minutes_of)),
        ("Narrower", _narrower(plan)),
        ("Pushing", _pushing(plan)),
        ("Finish", roughness(plan.finish.roughness) + _gasket(plan)),
        ("Best point", _best(plan)),
        ("Plate", _plate(plan)),
        ("Spring-back", _spring(plan)),
        *(("Note", note) for note in plan.notes),
    )
    most = microns(plan.removed.greatest)
    depth = Picture(
        "depth.png",
        "Where the metal goes; the ring marks the deepest spot.",
        f"Map of the metal removed, at most {most}, most at {at}.",
    )
    course = Picture(
        "course.png",
        "Flatness and the deepest spot against strokes on the first paper, with the limits.",
        "Curves of flatness, of the straightedge's reading and of the deepest spot against strokes.",
    )
    return [Section("What comes of it", (rows, _warp(plan), depth, course))]


def _ends(strokes: Band) -> str:
    """Where work may end: it is planned up to the next look, and so not in the range where that is narrow."""
    low, _, high = (words := spread_words(strokes, whole=True)).partition("–")
    return f"about {low}" if words and low == high else words


def _strokes(plan: Plan) -> str:
    """Strokes of all papers as they are planned, and the range in which the work may end."""
    spread = _ends(plan.effort.strokes)
    return f"{sum(stage.strokes for stage in plan.stages)} strokes" + (f" ({spread})" if spread else "")


def _narrower(plan: Plan) -> str | None:
    """What the ranges are made of: the face, which stations tell, or paper and hands."""
    do = TO_DO | ({"face": READ_MORE} if plan.scenario.readings.lines else {})
    return "; ".join(do[unknown.name] + spread_share(unknown) for unknown in plan.widens) or None


def _pushing(plan: Plan) -> str | None:
    """How hard it is to push, and that it gets harder."""
    stage = plan.stages[0]
    if not stage.checks:
        return None
    words = (
        f"takes {force(stage.push_fresh)} on fresh {stage.paper}, "
        f"{force(stage.push_clogged)} once it has clogged"
    )
    first, last = stage.checks[0], stage.checks[-1]
    if len(stage.checks) > 1:
        words += (
            f"; at the checks {force(first.push)} after {first.strokes} strokes and "
            f"{force(last.push)} after {last.strokes}, with {quantity(first.power, 'W')} and "
            f"{quantity(last.power, 'W')} of the arms"
        )
    return f"{words}. Much harder to push than that: the paper is clogged"


def _plate(plan: Plan) -> str | None:
    """Whether the plate is good enough for the limit, and what it costs."""
    effect = plan.plate
    if effect is None:
        return None
    limit = plan.scenario.part.limit
    words = (
        f"adds {microns(effect.added)} to the figure the limit is held against; the best to be had is "
        f"{microns(effect.floor)} on it, {microns(effect.floor_true)} on a true plate"
    )
    if effect.floor.p95 <= limit:
        return f"{words}: good enough for {spoken.height(limit)}"
    if effect.floor.p05 > limit:
        return f"{words}: not good enough for {spoken.height(limit)}"
    return f"{words}: cannot tell whether it is good enough for {spoken.height(limit)}"


def _spring(plan: Plan) -> str | None:
    """How a thin part springs."""
    spring = plan.spring
    if spring is None:
        return None
    words = (
        f"the press springs it flat by {spoken.height(spring.flexed)} at the start; at the stop "
        f"{spoken.height(spring.comes_back)} are pressed in and come back when it is let go; "
        f"flatness after the same work {spoken.height(spring.flatness)}, were it rigid "
        f"{spoken.height(spring.flatness_rigid)}, with a stiff block behind it "
        f"{spoken.height(spring.flatness_backed)}"
    )
    if spring.asked is None:
        return words
    if spring.largest_press is None:
        return f"{words}; even with no press more than {spoken.height(spring.asked)} come back"
    return (
        f"{words}; up to {shown(spring.largest_press, 'force', 2)} of press keep what comes back within "
        f"{spoken.height(spring.asked)}"
    )


def _chances(plan: Plan) -> str:
    words = f"going on until a check says stop: to reach the goal {chance(plan.chance.goal)}"
    if plan.chance.allowance is None:
        return words
    inside = chance(plan.chance.allowance)
    return f"{words}; to stay inside the allowance {inside}; both {chance(plan.chance.both)}"


def _gasket(plan: Plan) -> str:
    asked = plan.scenario.part.gasket_ra
    if asked is None:
        return "; what the gasket asks is not stated"
    fits = {True: "suits", False: "does not suit", None: "may or may not suit"}[plan.finish.fits]
    return f"; {fits} the gasket ({roughness(asked)})"


def _best(plan: Plan) -> str | None:
    best = plan.best_point
    if best is None:
        return "not reached within the strokes looked at: it would still get flatter"
    return (
        f"after {best.strokes} strokes, flatness {microns(best.flatness)}; from there the next block makes "
        f"it worse with a chance of {chance(best.worse_after)}"
    )


def _how_sure(plan: Plan) -> Section:
    rows: list[tuple[str, str | None]] = [
        (
            "Bands",
            f"{plan.members} faces and pairs of hands that fit what is known; seed {plan.seed}. {BAND_WORDS}",
        ),
        ("Numerical error", error_words(plan.errors, plan.scenario.system) if _worked(plan) else None),
        ("Another seed", another_words(plan.another, plan.scenario.system) if _worked(plan) else None),
        ("Thresholds", _thresholds(plan)),
        ("u and v", AXES),
    ]
    if not _worked(plan):
        return Section("How sure", (facts(*rows),), aside=True)
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


LINES_DRAWN = {
    "leave_at": "left alone if flat already with a chance of {} or more",
    "needs_work_at": "in need of work if that is {} or less",
    "lap_at": "lapped if it ends inside both limits with a chance of {} or more",
    "shop_at": "machine shop if that is {} or less",
    "numerical_error_over_limit": "cannot tell where the numerical error is over {} of the limit and "
    "could turn the answer",
    "senses_disagree_at": "cannot tell where straightedge and whole face differ by {} or more in that chance",
}


def _thresholds(plan: Plan) -> str:
    known = [
        LINES_DRAWN.get(name, name.replace("_", " ") + " {}").format(f"{100.0 * value:.0f} %")
        for name, value in plan.verdict.thresholds.items()
    ]
    return "; ".join(known) + "; else cannot tell"


OF_LAPS = (
    "after removed effort finish best_point curve members_mean_depth_um members_mass_g wobble_held_back "
    "press_off_the_face errors another_seed plate spring_back"
)
"""Keys of a plan that say nothing where the face is left as it is."""


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan; of a face that is left as it is, what laps would do to it is null."""
    found = behind(said_of(plan), "curve", assumed=assumed_json(plan.scenario))
    if plan.verdict.answer == "leave":
        found |= dict.fromkeys(OF_LAPS.split())
        found |= {"stages": [], "papers_tried": [], "papers_alike": []}
        found["chance"] |= {"goal": None, "allowance": None, "both": None}
    return {"schema": schema_of("plan"), **job_json(plan.scenario), **found}
