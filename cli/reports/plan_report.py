"""What a plan says, in the order in which a person at the bench asks it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from handlap.cli.reports.as_json import assumed_json, job_json, schema_of
from handlap.cli.reports.blocks import Block, Bullets, Picture, Report, Section, Table, Words
from handlap.cli.reports.quantity import (
    chance,
    counted,
    force,
    height,
    number,
    quantity,
    share,
    shown,
    spread_words,
)
from handlap.cli.reports.wording import (
    AXES,
    BAND_WORDS,
    TAPER_SIGNS,
    TO_DO,
    TURNS,
    another_words,
    assumed_section,
    doubts_section,
    dye_signs,
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
from handlap.sim.common.spoken import height_unit, per, per_swarf, swarf_unit, unit
from handlap.sim.common.words import listed
from handlap.sim.planning.papers import DEFAULT_FINISH, clearly_better
from handlap.sim.planning.verdict import LAP_AT, LEAVE_AT, NEEDS_WORK_AT, SHOP_AT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.job.results import Band, Check, PaperTrial, Plan, StagePlan

Tone = Literal["good", "doubt", "bad", "plain"]
ANSWERS: dict[str, tuple[str, Tone]] = {
    "leave": ("Leave it as it is", "good"),
    "lap": ("Lap it by hand", "good"),
    "cannot tell": ("Cannot tell yet", "doubt"),
    "machine shop": ("Take it to a machine shop", "bad"),
}
READ_MORE = "read more stations of the face, and the line that handlap survey names"
MOST_ROWS = 12
LEAF_FELT = 4e-6
"""Figures closer together than a leaf is felt are one [m]."""
"""Checks shown in a terminal; the page and the JSON have all."""


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
    blocks: list[Block] = [Table(heads, rows), Bullets(_stage_words(plan))]
    sections = [Section(title, tuple(blocks))]
    sections += [section for section in (_papers(plan), _checks(plan, all_checks)) if section]
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


def _papers(plan: Plan) -> Section | None:
    """Which paper to start on, in words and as a table, so that a person can take another."""
    if len(plan.trials) < 2:
        return None
    taken = plan.stages[0].paper
    heads = (
        "start on",
        "then",
        "minutes\n(range)",
        "sheets",
        f"metal off\n{swarf_unit()}",
        "both limits\nmet %",
        "quicker, in\nof 100",
    )
    rows = tuple(
        (
            trial.paper + (" *" if trial.paper == taken else ""),
            ", ".join(trial.finer) or "-",
            quantity(trial.minutes, whole=True),
            number(trial.sheets, 2),
            quantity(trial.metal.scaled(per_swarf())),
            _goal_met(trial.chance_both),
            "-" if trial.paper == taken else f"{round(100.0 * trial.quicker)}",
        )
        if trial.tried and trial.metal and trial.chance_both is not None and trial.quicker is not None
        else (
            trial.paper,
            ", ".join(trial.finer) or "-",
            f"some {number(trial.minutes.p50, 2)}",
            "",
            "",
            "",
            "",
        )
        for trial in plan.trials
    )
    tried = max(trial.tried for trial in plan.trials)
    least = min(trial.tried for trial in plan.trials if trial.tried)
    fewer = f", or {least} of them where it was plainly slower" if least < tried else ""
    words = [
        *_choice_words(plan, taken),
        f"Minutes are of all work, brushing and changes of paper included. Each was worked by the same "
        f"{tried} faces and hands{fewer}; quicker: than the one taken (*), the coarsest of those whose "
        "minutes over the chance cannot be told from the least and that are not plainly slower.",
    ]
    if any(not trial.tried for trial in plan.trials):
        words.append("Where only minutes stand it was not tried: it would take far longer.")
    if plan.scenario.part.gasket_ra is None:
        words.append(
            f"No finish is stated: finer papers go to {roughness((DEFAULT_FINISH,) * 2)}, common practice."
        )
    return Section("Which paper first", (Words(" ".join(words)), Table(heads, rows, (1,))))


def _choice_words(plan: Plan, taken: str) -> list[str]:
    """What to start on, and how sure that is: no more than so few members can bear."""
    trials = {trial.paper: trial for trial in plan.trials}
    own = trials[taken]
    minutes = quantity(own.minutes, whole=True)
    if plan.scenario.paper.start is not None:
        return [f"To start on {taken} is stated: {minutes} minutes with changes of paper."]
    if len(plan.alike) > 1:
        return [
            f"{listed(plan.alike)} are about alike ({minutes} minutes; none is quicker or slower than the "
            "coarsest in more than four cases of five). Take the coarser, or the one you have.",
            *_surer_words(plan, own),
        ]
    words = [f"Start on {taken}: {minutes} minutes with changes of paper."]
    others = [t for t in plan.trials if t.tried and t.paper != taken and t.quicker is not None]
    if others:
        next_best = min(others, key=lambda t: t.minutes.p50)
        more = len(next_best.finer) - len(own.finer)
        why = ", for it needs one more paper afterwards" if more > 0 else ""
        few = "in few cases" if (next_best.quicker or 0.0) < 0.25 else "in some cases"
        able = next_best.chance_both is not None and own.chance_both is not None
        if able and (own.chance_both or 0.0) - (next_best.chance_both or 0.0) >= 0.1:
            why = ", and meets the limits less often"
        words.append(
            f"{next_best.paper} takes some {number(next_best.minutes.p50, 2)} and is quicker {few}{why}."
        )
    words += _surer_words(plan, own)
    return words


def _surer_words(plan: Plan, own: PaperTrial) -> list[str]:
    """A paper that meets both limits clearly more often than the one taken, for whom that counts most."""
    chance = own.chance_both or 0.0
    tried = [t for t in plan.trials if t.tried]
    surer = [t for t in tried if clearly_better(t.chance_both or 0.0, chance, min(t.tried, own.tried))]
    if not surer:
        return []
    # Not the surest: what takes three times as long for a few cases more is no advice.
    best = min(surer, key=lambda t: t.minutes.p50)
    return [
        f"{best.paper} meets both limits more often ({share(best.chance_both or 0.0)} against "
        f"{share(chance)}) and takes some {number(best.minutes.p50, 2)} minutes: start on it where that "
        "counts more than time."
    ]


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
    heads = (
        "after\nstrokes",
        "paper",
        f"straightedge\n{height_unit()}",
        f"flatness\n{height_unit()}",
        f"metal off\n{swarf_unit()}",
        "goal\nmet %",
    )
    rows, dye_rows = [], []
    spare, planned = False, 0
    for stage in plan.stages:
        planned += stage.strokes
        most = total if all_checks else max(2, round(MOST_ROWS * len(stage.checks) / total))
        for i in _shown(stage, most):
            check = stage.checks[i]
            beyond = check.strokes > planned
            spare |= beyond
            when = (f"({check.strokes})" if beyond else f"{check.strokes} ", check.paper)
            dye_rows.append((*when, *dye_cells(check)))
            rows.append(
                (
                    *when,
                    microns(check.straightedge, ""),
                    microns(check.flatness, ""),
                    quantity(check.mass.scaled(per_swarf())),
                    _goal_met(check.reached),
                )
            )
    words = (
        "Clean the face, look at the dye, lay the straightedge, weigh what came off; dye it again once half "
        "of the dye is gone. "
        "Stop as soon as the goal is met. Goal met: the chance that it is by then, at this check or one "
        "before; who goes on until a check says stop gets there with a chance of "
        f"{chance(plan.chance.goal)}."
    )
    if spare:
        words += " Strokes in brackets: only if it is not met by then."
    if len(rows) < total:
        words += f" {len(rows)} of {total} checks are shown; --out and --json give all."
    dye = Picture(
        "dye.png",
        "The dye at each check, mean over all faces and hands: dark as it was put on, light gone; half way "
        "it is fading, or cases differ.",
        "Maps of the dye at each check; the table above has the shares that are fading and gone.",
    )
    table = Table(heads, tuple(rows), (1,))
    return Section("Stop and look", (Words(words), table, *dye_blocks("after\nstrokes", dye_rows), dye))


def dye_cells(check: Check) -> tuple[str, str]:
    """Shares of the face [%] whose dye is fading or gone, and gone."""
    faded, gone = (
        quantity(band.scaled(100.0), whole=True) for band in (check.dye_faded, check.dye_left.rest)
    )
    return faded, gone


def dye_blocks(strokes: str, rows: Sequence[tuple[str, ...]]) -> tuple[Words, Table]:
    """What the dye will show, from rows of strokes (the head of which is given), paper and both shares."""
    words = f"Shares of the face by the dye put on at a check before. {dye_signs()}"
    heads = (strokes, "paper", "dye fading\nor gone, %", "dye\ngone, %")
    return Words(words), Table(heads, tuple(rows), (1,))


def ends_at(after: Band) -> str:
    """A figure after the work; where it is the one that the work stops at, its spread would say nothing."""
    return height(after.p50, 2) if _is_stop(after) else microns(after)


def _is_stop(after: Band) -> bool:
    return after.p95 - after.p05 < LEAF_FELT


def _stops_at(after: Band) -> str:
    why = ": about there it stops, as leaves are felt" if _is_stop(after) else ""
    return f"{ends_at(after)} after the work{why}"


def _goal_met(share_of_members: float) -> str:
    """A chance in per cent, short enough for a table."""
    return chance(share_of_members).removesuffix(" %").replace("over ", "> ").replace("under ", "< ")


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
