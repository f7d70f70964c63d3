"""What a re-plan says: stop or go on, what was learnt, what to expect; and the trial block."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.as_json import job_json, schema_of
from handlap.cli.reports.blocks import Bullets, Picture, Report, Section, Table, Tone, Words
from handlap.cli.reports.quantity import chance, counted, number, quantity, share
from handlap.cli.reports.wording import (
    BAND_WORDS,
    LIMIT,
    TAPER_SIGNS,
    TURNS,
    error_words,
    every,
    face_words,
    facts,
    goal_of,
    limit_words,
    microns,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.said import said_of, said_value
from handlap.sim.common.spoken import (
    height_unit,
    length_unit,
    per,
    per_height,
    per_length,
    per_swarf,
    say_height,
    swarf_unit,
    unit,
)
from handlap.sim.planning.cautions import IN_SHORT

if TYPE_CHECKING:
    from handlap.sim.bench.learn import Quantity
    from handlap.sim.bench.replan import Replan

ANSWERS: dict[str, tuple[str, Tone]] = {
    "go on": ("Go on", "plain"),
    "goal met": ("Stop: the goal is met", "good"),
    "finish next": ("Flat enough: now only the finish", "plain"),
    "read": ("Stop and read it again: it may be flat enough", "doubt"),
    "stop": ("Stop", "bad"),
    "too deep": ("Stop: more is off than may come off", "bad"),
    "out of reach": ("Stop: out of reach by hand", "bad"),
    "cannot tell": ("Cannot tell", "doubt"),
}
AGAINST: tuple[str, Tone] = ("Stop and check once more: flat enough by the leaves alone", "doubt")
"""Where the leaves say so, and all that was read before and logged says otherwise."""
MOST_LOOKS = 10
NAMES = {
    "cut": "what 100 strokes on a new sheet take off",
    "rate": "cutting rate",
    "bedding": "bedding of the grit, λ/d",
    "friction": "friction",
    "ageing": "ageing of the paper, factor",
    "press": "press of the hands",
    "height": "height of the hands",
    "bias_along": "bias along (+ away)",
    "bias_across": "bias across (+ left)",
    "wobble_along": "wobble along",
    "wobble_across": "wobble across",
    "push_over_pull": "push over pull",
    "dye_faded": "metal off when dye is seen to fade",
    "dye_gone": "metal off when it is gone",
    "loading_floor": "share of its rate that clogged P120 keeps",
    "dulling_floor": "share of its rate that blunt P120 keeps",
    "brushing": "share of the clogging that brushing takes out",
    "blunt_bedding": "share of its bedding that blunt paper keeps",
    "friction_gain": "growth of friction on clogged paper",
    "edge_rate": "how much faster the leading edge is cut",
    "edge_rise": "rise of the paper before the leading edge",
    "sway": "sway of the strokes",
    "face": "flatness at the start",
}
JSON_FACTORS = {
    "cut": 1e6, "rate": 1e9, "height": 1e3, "bias_along": 1e3, "bias_across": 1e3, "wobble_along": 1e3,
    "wobble_across": 1e3, "edge_rise": 1e6, "sway": 1e3, "dye_faded": 1e6, "dye_gone": 1e6, "face": 1e6,
}  # fmt: skip
SHOWN_AS = {
    "cut": "height", "rate": "rate", "press": "force", "height": "length", "bias_along": "length",
    "bias_across": "length", "wobble_along": "length", "wobble_across": "length", "edge_rise": "height",
    "sway": "length", "dye_faded": "height", "dye_gone": "height", "face": "height",
}  # fmt: skip
"""Unknown → quantity of :mod:`handlap.sim.common.spoken`; the others are plain numbers."""
SIDES = {"bias_across": ("left", "right"), "bias_along": ("far side", "near side")}
LITTLE_BIAS = 2e-3
LUCK = {"rate": "luck of this {paper}: its rate", "ageing": "luck of this {paper}: how long it lasts"}
ALWAYS_TOLD = ("cut", "face")
SHORT = {
    "rate": "rate",
    "bedding": "bedding",
    "ageing": "ageing",
    "loading_floor": "how far it clogs",
    "dulling_floor": "how far it blunts",
    "brushing": "brushing",
    "blunt_bedding": "bedding when blunt",
    "friction": "friction",
    "friction_gain": "friction when clogged",
    "edge_rate": "leading edge",
    "edge_rise": "wave before the edge",
    "press": "press",
    "height": "height",
    "bias_along": "bias along",
    "bias_across": "bias across",
    "wobble_along": "wobble along",
    "wobble_across": "wobble across",
    "push_over_pull": "push over pull",
    "sway": "sway",
    "dye_faded": "when it fades",
    "dye_gone": "when it is gone",
}
OF_PAPER, OF_DYE = tuple(SHORT)[:11], tuple(SHORT)[-2:]
"""In the order of ``SHORT``; what lies between them is of the hands."""


def name_of(quantity: str) -> str:
    """What an unknown is called in a report.

    >>> name_of("sway"), name_of("rate P80")
    ('sway of the strokes, mm', 'luck of this P80: its rate')
    """
    what, _, paper = quantity.partition(" ")
    if paper:
        return LUCK[what].format(paper=paper)
    name = NAMES[quantity]
    return f"{name}, {unit(SHOWN_AS[quantity])}" if quantity in SHOWN_AS else name


def _in_job(name: str) -> float:
    """What an unknown [SI] is multiplied by to be shown."""
    return per(SHOWN_AS[name]) if name in SHOWN_AS else 1.0


def replan_report(found: Replan) -> Report:
    """The report of a re-plan."""
    answer, tone = ANSWERS[found.verdict.answer]
    if found.verdict.answer == "go on":
        answer = f"Go on: {counted(found.next.strokes, 'stroke')} more on {found.next.paper}, then look"
    if found.now.flat.contradicted and found.verdict.answer in ("goal met", "finish next"):
        answer, tone = AGAINST
    # What is now comes before what is next, limit by limit.
    lead = tuple(map(sentence, (*map(limit_words, found.now.limits), *found.verdict.reasons)))
    sections = [Section("Where it stands", (_now(found),))]
    if found.verdict.ask:
        sections.insert(0, Section("Look again", (Bullets(tuple(map(sentence, found.verdict.ask))),)))
    sections += [_learnt(found), *_rest(found)]
    sections += [Section("Take care", (Words(IN_SHORT),)), _how_sure(found)]
    return Report("replan", answer, tone, subject(found.scenario), lead, tuple(sections))


def _now(found: Replan) -> Any:
    now = found.now
    by = "by the straightedge" if found.scenario.part.limit_by == "straightedge" else LIMIT["zone"]
    best = None
    if found.best.strokes < found.log.strokes:
        best = (
            f"at {found.best.strokes} strokes: {microns(found.best.measured)}; chance that it is worse now "
            f"{chance(found.best.worse_now)}"
        )
    return facts(
        ("Face", face_words(found.scenario.part)),
        ("Wanted", wanted_words(found.scenario.part)),
        ("Goal", goal_of(found.scenario)),
        ("Done", f"{counted(found.log.strokes, 'stroke')}, now on {found.next.paper}"),
        ("Out of flat", f"{microns(now.measured)} {by}; inside the limit with a chance of "
                        f"{chance(now.chance_goal)}"),
        ("Whole face", f"{microns(now.flatness)} (minimum zone)" if by != LIMIT["zone"] else None),
        ("Best so far", best or "now"),
        ("Metal off", f"{microns(now.mean_depth)} on average, {microns(now.greatest_depth)} at the "
                      f"deepest; {quantity(now.mass.scaled(per_swarf()), swarf_unit(), finest=0.001)}"),
        ("Taper", f"along {microns(now.taper_along)}, across {microns(now.taper_across)}; {TAPER_SIGNS}"),
    )  # fmt: skip


def learnt_words(item: Quantity) -> str | None:
    """What was learnt of a quantity, as a sentence; None where nothing was."""
    if item.standing == "still our assumption":
        return None
    if item.name == "cut":
        half = 50.0 * (item.after.p95 - item.after.p05) / item.after.p50
        depth = quantity(item.after.scaled(per_height()), height_unit(), finest=0.01)
        times = "of" if item.shift < 1.0 else "times"
        return (
            f"your paper, with your hands, cuts {number(item.shift, 2)} {times} what was assumed, ± "
            f"{number(half, 2)} %: {depth} in the first 100 strokes on a new sheet"
        )
    if item.name in SIDES:
        middle = item.after.p50
        if abs(middle) < LITTLE_BIAS:
            return f"you press in the middle, {NAMES[item.name].split()[1]} the stroke"
        side = SIDES[item.name][0 if middle > 0.0 else 1]
        return f"you press {quantity(item.after.scaled(per_length()), length_unit())} to the {side}"
    if item.name == "bedding":
        return f"the grit beds {number(item.shift, 2)} times as deep as was assumed"
    if item.name == "ageing":
        return f"your paper lasts {number(item.shift, 2)} times as long as was assumed"
    if item.name in ("loading_floor", "dulling_floor"):
        state = "clogged" if item.name == "loading_floor" else "blunt"
        return (
            f"{state} paper keeps {number(item.shift, 2)} times as much of its rate as was assumed: "
            f"{quantity(item.after.scaled(100.0), '%')}, if it is P120"
        )
    return None


def still_assumed(names: Sequence[str]) -> str:
    """What nothing was learnt of, in one sentence; "" for nothing.

    >>> still_assumed(["rate P80", "ageing P80", "bedding", "sway"])
    'Still our assumption: of the paper: luck of this P80, bedding; of the hands: sway. '
    """
    told: dict[str, list[str]] = {"the paper": [], "the hands": [], "the dye": []}
    for name in names:
        what, _, paper = name.partition(" ")
        of = told["the paper" if what in OF_PAPER else "the dye" if what in OF_DYE else "the hands"]
        of.append(f"luck of this {paper}" if paper else SHORT[what])
    parts = [f"of {of}: {', '.join(dict.fromkeys(words))}" for of, words in told.items() if words]
    return f"Still our assumption: {'; '.join(parts)}. " if parts else ""


def _learnt(found: Replan) -> Section:
    learnt = found.learnt
    if not learnt.believed:
        return Section("What was learnt", (Words("Nothing that could be relied on: see above."),))
    said = [words for item in learnt.quantities if (words := learnt_words(item))]
    told = [q for q in learnt.quantities if q.name in ALWAYS_TOLD or q.standing != "still our assumption"]
    rows = tuple(
        (
            name_of(item.name),
            quantity(item.before.scaled(_in_job(item.name))),
            quantity(item.after.scaled(_in_job(item.name))),
            item.standing,
        )
        for item in told
    )
    blocks = [Table(("what", "assumed", "now", "standing"), rows, (0, 1, 2, 3), wraps=0)]
    lead = [Bullets(tuple(map(sentence, said)))] if said else [Words("Nothing yet beyond what was assumed.")]
    tail = Words(
        still_assumed([q.name for q in learnt.quantities if q not in told])
        + "Rate and press are told apart only by a scale under the press; clogging from the rate only by "
        "weighings between two brushings; friction and wobble never by a log. Learnt: the spread fell to "
        "under half; partly: to under four fifths, and further than chance takes it."
    )
    return Section("What was learnt", (*lead, *blocks, tail))


def _rest(found: Replan) -> list[Section]:
    rhythm = found.next.rhythm
    rows = facts(
        ("Next", f"{counted(found.next.strokes, 'stroke')} on {found.next.paper}, then clean, look, dye, "
                 "measure, weigh; write it down"),
        ("Turn", f"{TURNS.get(found.scenario.turning.name, found.scenario.turning.name)}; every "
                 f"{every(rhythm.turn_every)} strokes" if rhythm.turn_every else "never"),
        ("Paper", f"brush every {every(rhythm.brush_every)}, new sheet every "
                  f"{every(rhythm.sheet_every)} strokes"),
        ("To the goal", _totals(found)),
        ("Then", "; ".join(f"{p.paper}, some {p.strokes} strokes, only until the scratches are gone"
                           for p in found.finer) or None),
        ("Risks", f"next block makes it worse: {chance(found.risks.worse)}"),
        ("Allowance", _over(found)),
    )  # fmt: skip
    blocks: list[Any] = [rows]
    if found.ahead and found.verdict.answer in ("go on", "cannot tell"):
        step = max(1, -(-len(found.ahead) // MOST_LOOKS))
        table = tuple(
            (
                str(look.strokes),
                microns(look.measured, ""),
                microns(look.greatest_depth, ""),
                chance(look.reached),
                chance(look.worse),
            )
            for look in found.ahead[step - 1 :: step]
        )
        heads = (
            "strokes\nin all",
            f"out of flat\n{height_unit()}",
            f"deepest\n{height_unit()}",
            "goal\nmet by then",
            "worse than\nlook before",
        )
        blocks.append(Table(heads, table, ()))
    blocks.append(
        Picture(
            "course.png",
            "The log as learnt, and on from there, with what was measured.",
            "Flatness and depth against strokes: what is done, what was read and weighed, the next look, and "
            "the first plan behind them.",
        )
    )
    blocks.append(
        Picture(
            "warp.png",
            "The face before the first stroke, and now: the case nearest to the middle.",
            f"Maps of the face then and now: flatness {microns(found.now.flatness)} now.",
        )
    )
    title = "The rest of the work" if found.verdict.answer in ("go on", "cannot tell") else "If you went on"
    return [Section(title, tuple(blocks))]


def _over(found: Replan) -> str | None:
    """Chances that the deepest spot is over the allowance: now, after the next block, at the goal."""
    if found.risks.deep_now is None or found.risks.deep_at_goal is None:
        return None
    soon = "" if found.risks.deep is None else f"after the next block {chance(found.risks.deep)}, "
    return (
        f"more than that is off now with a chance of {chance(found.risks.deep_now)}, {soon}by the time the "
        f"goal is reached {chance(found.risks.deep_at_goal)}"
    )


def _totals(found: Replan) -> str:
    def told(total: Any, reached: float) -> str:
        if total is None:
            return "never"
        often = "" if reached > 0.95 else f" (in {share(reached)} of the cases at all)"
        return f"{quantity(total, 'strokes', whole=True)}{often}"

    left = (
        ""
        if found.rest.total is None
        else f", {max(0, round(found.rest.total.p50) - found.log.strokes)} of them to come"
    )
    return (
        f"{told(found.rest.total, found.rest.reached)} from the start{left}; without the log it would be "
        f"{told(found.first.total, found.first.reached)}"
    )


def _how_sure(found: Replan) -> Section:
    from handlap.sim.bench.forecast import MODEL

    learnt = found.learnt
    rows = facts(
        ("Members", f"{learnt.effective:.0f} of {learnt.members} still count after {_looks(found)}; "
                    f"seed {found.seed}"),
        ("Bands", f"{BAND_WORDS} Flatness has {say_height(MODEL, '.0f')} more on either side, for a "
                  "model not quite right."),
        ("Numerical error", error_words(found.errors, found.scenario.system)),
    )  # fmt: skip
    return Section("How sure", (rows,), aside=True)


def _looks(found: Replan) -> str:
    return counted(len(found.learnt.ready.looks), "weighing or reading", "weighings and readings")


def replan_json(found: Replan) -> dict[str, Any]:
    """A re-plan as one object."""
    learnt, now = found.learnt, found.now
    return {
        "schema": schema_of("replan"),
        **job_json(found.scenario),
        **said_of(learnt, "members effective believed"),
        **said_of(found, "seed verdict"),
        **said_of(now, "limits"),
        "strokes": found.log.strokes,
        **said_of(found.next),
        **said_of(found.next.rhythm),
        **said_of(now, "measured flatness"),
        "removed": said_of(now, "mean_depth greatest_depth taper_along taper_across mass"),
        "chance": {**said_of(now, "chance_goal"), **said_of(found.risks)},
        **said_of(found, "best"),
        "strokes_to_goal": said_value(found.rest.total),
        "strokes_to_goal_without_log": said_value(found.first.total),
        "learnt": [_quantity_json(item, learnt.believed) for item in learnt.quantities],
        **said_of(found, "ahead errors finer cautions"),
    }


def _quantity_json(item: Quantity, believed: bool) -> dict[str, Any]:
    factor = JSON_FACTORS.get(item.name, 1.0)
    return {
        "name": item.name,
        "assumed": said_of(item.before, factor=factor),
        "now": said_of(item.after, factor=factor),
        **said_of(item, "ratio standing"),
        "words": learnt_words(item) if believed else None,
    }
