"""What is said of the causes of the final error, forwards and backwards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from handlap.cli.reports.as_json import MICRON, band, job_json
from handlap.cli.reports.blocks import Block, Picture, Report, Section, Table, Words
from handlap.cli.reports.compare_differences import SIZES
from handlap.cli.reports.quantity import chance, counted, middle, number, quantity
from handlap.cli.reports.wording import (
    BAND_WORDS,
    TAPER_SIGNS,
    assumed_section,
    doubts_section,
    error_words,
    face_words,
    facts,
    microns,
    sentence,
    subject,
    wanted_words,
)
from handlap.sim.common.said import figure, said_of, said_value
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.job.results import Band

if TYPE_CHECKING:
    from handlap.sim.comparing.cause_ranking import Ranking
    from handlap.sim.comparing.why import CauseResult, Why
    from handlap.sim.job.scenario import Scenario

CAUSE_WORDS = {
    "starting shape": "warp not yet worked out",
    "high hands": "high hands rock the part",
    "wobble": "the press wanders",
    "bias": "the press is off the middle",
    "push and pull": "push heavier than pull",
    "press within a stroke": "press shifts in the stroke",
    "paper ageing": "paper worn in its middle",
    "leading edge": "the leading edge is cut more",
    "plate": "the plate is not flat",
    "overhang and seams": "overhang and seams",
    "spring-back": "the part springs back",
    "inserts": "another metal in the face",
    "none of these": "none of these",
}
PARTS = ("crown_along", "crown_across", "twist", "taper_along", "taper_across")
HEADS = ("crown\nalong", "crown\nacross", "twist", "taper\nalong", "taper\nacross")
NAMES = {
    "crown_along": "crown along",
    "crown_across": "crown across",
    "twist": "twist",
    "taper_along": "taper along",
    "taper_across": "taper across",
}
SIGNS = (
    "Micrometres; + crown is the middle proud, − hollow; + twist is proud far right and near left; "
    f"taper is of the removal, {TAPER_SIGNS}."
)
READ = {"straightedge": "straightedge's reading", "zone": "flatness"}
SMALL = 1e-6
"""A mean that is less is not worth naming as the largest cause [m]."""
LEAST_NAMED = 0.1e-6
"""… nor is a cause that adds less than the last digit shown [m]."""


def why_report(found: Why) -> Report:
    """The report of the causes."""
    part = found.scenario.part
    sections = [
        Section("The face", (facts(("Face", face_words(part)), ("Wanted", wanted_words(part))),)),
        _contributions(found),
        _changes(found),
        *doubts_section(found.scenario.warnings, found.notes),
        assumed_section(found.scenario),
        _how_sure(found),
    ]
    answer, lead = _answer(found)
    return Report("why", answer, "plain", subject(found.scenario), lead, tuple(sections))


def _largest(found: Why, name: str) -> str | None:
    """The cause that adds most to a component in the sense of what is there, if any does."""
    total = found.total[name].p50
    if abs(total) < SMALL:
        return None
    sign = 1.0 if total > 0.0 else -1.0
    best = max(found.causes, key=lambda cause: sign * cause.alone[name].p50)
    return best.name if sign * best.alone[name].p50 >= LEAST_NAMED else None


def _answer(found: Why) -> tuple[str, tuple[str, ...]]:
    along = found.total["crown_along"]
    if along.p05 > 0.0:
        answer = "It comes out crowned"
    elif along.p95 < 0.0:
        answer = "It comes out hollow"
    else:
        answer = "Crowned or hollow: cannot tell"
    over = microns(along) if along.p50 >= 0.0 else microns(Band(-along.p95, -along.p50, -along.p05))
    where = "over" if along.p50 >= 0.0 else "below"
    lead = [f"After {found.strokes} strokes on {found.papers[0]} the middle lies {over} {where} both ends."]
    for name in PARTS:
        cause = _largest(found, name)
        if cause is not None and abs(found.total[name].p50) >= SMALL:
            size = next(c for c in found.causes if c.name == cause).alone[name]
            lead.append(
                f"{sentence(NAMES[name])[:-1]}: most from {CAUSE_WORDS[cause]}, {microns(size)} by itself."
            )
    helpful = [
        change for change in found.changes[:3] if change.gain.size != "cannot tell" and change.gain.mean < 0.0
    ]
    if helpful:
        best = helpful[0]
        lead.append(
            f"What would help most: {best.name}, {_gain(best.gain.mean)} {height_unit()} less out of flat."
        )
    else:
        lead.append("None of the changes that were tried helps by more than can be told from nothing.")
    return answer, tuple(lead)


def _gain(mean: float) -> str:
    return number(abs(per_height() * mean), 2, 0.1)


def ranked_causes(found: Why) -> list[CauseResult]:
    """The causes, the one that adds most to any part of the error, either way, first."""
    return sorted(found.causes, key=lambda c: -max(abs(c.alone[name].p50) for name in PARTS))


def _contributions(found: Why) -> Section:
    def middles(bands: dict[str, Band]) -> tuple[str, ...]:
        return tuple(middle(bands[name].scaled(per_height()), finest=0.1) for name in PARTS)

    ranked = ranked_causes(found)
    alone = [(CAUSE_WORDS[c.name], *middles(c.alone)) for c in ranked]
    alone += [("what they do together", *middles(found.leftover)), ("all of it", *middles(found.total))]
    on_top = [(CAUSE_WORDS[c.name], *middles(c.on_top)) for c in ranked]
    wide = [
        (
            CAUSE_WORDS[c.name],
            *(quantity(c.alone[name].scaled(per_height()), finest=0.1) for name in PARTS[:2]),
        )
        for c in ranked
    ]
    blocks: tuple[Block, ...] = (
        Words(
            f"{counted(len(found.causes), 'cause')} at work in this scenario, each alone; middle values, the "
            "same metal removed. The last rows: what is left over from them together, and the whole; middle "
            "values need not quite add up."
        ),
        Table(("cause alone", *HEADS), tuple(alone), wraps=0),
        Words("The other way round, all at work but one: what each adds on top of the others."),
        Table(("on top", *HEADS), tuple(on_top), wraps=0),
        Words(SIGNS),
        Words("The range of each cause alone over the faces and hands:"),
        Table(("cause alone", *HEADS[:2]), tuple(wide), wraps=0),
        Picture(
            "causes.png",
            "What each cause alone adds to the error, the largest first.",
            "A row for each cause, a column for each part of the error: the middle and 90 of 100 cases; the "
            "tables have the figures.",
        ),
        Picture(
            "maps.png",
            "The face that is left, and what the largest cause adds on top of the others, on one scale.",
            "Maps of the face and of what the largest cause adds to it; the tables have the figures.",
        ),
    )
    return Section("What makes the error", blocks)


def _changes(found: Why) -> Section:
    held = found.scenario.part.limit_by
    rows = tuple(
        (
            change.name,
            CAUSE_WORDS[change.cause],
            f"{'−' if change.gain.mean < 0 else '+'}{_gain(change.gain.mean)} {SIZES[change.gain.size]}",
            microns(change.after, ""),
        )
        for change in found.changes
        if change in found.changes[:3] or (change.gain.size != "cannot tell" and change.gain.mean < 0.0)
    )
    words = (
        f"Each was tried on the same faces and hands; the change is of the {READ[held]}, and whether it is "
        "more than the spread: yes in 19 of 20, mean on average, no."
    )
    blocks: list[Block] = [
        Words(words),
        Table(("change", "against", height_unit(), f"then\n{height_unit()}"), rows, (0, 1), wraps=0),
    ]
    rest = len(found.changes) - len(rows)
    if rest:
        blocks.append(
            Words(
                f"{counted(rest, 'other change')} made no difference that can be told, or made it "
                "worse; --json has all."
            )
        )
    return Section("What would help", tuple(blocks))


def _how_sure(found: Why) -> Section:
    rows = facts(
        (
            "Bands",
            f"{found.members} faces and pairs of hands, the same throughout; seed {found.seed}. {BAND_WORDS}",
        ),
        (
            "Method",
            f"{found.strokes} strokes on {found.papers[0]}"
            + (f", then {', '.join(found.papers[1:])}" if len(found.papers) > 1 else "")
            + f"; mean depth {microns(found.mean_depth)}, kept within 0.5 % by scaling the rate; crowns "
            "and twist from the best quadratic surface over the metal",
        ),
        ("Numerical error", error_words(found.errors, found.scenario.system)),
    )
    return Section("How sure", (rows,), aside=True)


def why_json(found: Why) -> dict[str, Any]:
    """The causes as one JSON object."""
    cells = found.grid.n_cells
    return {
        "schema": "handlap.why/1",
        **job_json(found.scenario),
        **said_of(found, "members seed papers strokes mean_depth total"),
        "causes": [
            {**said_of(c, "name alone on_top"), "map_um": said_value(c.picture[:cells], MICRON)}
            for c in found.causes
        ],
        **said_of(found, "leftover"),
        "changes": [
            {
                "name": c.name,
                "against": c.cause,
                "difference_um": figure(c.gain.mean, MICRON),
                "difference_band_um": band(c.gain.band, MICRON),
                "more_than_spread": c.gain.size,
                "after_um": band(c.after, MICRON),
            }
            for c in found.changes
        ],
        "map_um": said_value(found.picture[:cells], MICRON),
        "u_mm": said_value(found.grid.u[:cells], 1e3),
        "v_mm": said_value(found.grid.v[:cells], 1e3),
        **said_of(found, "errors notes"),
    }


BY_WORDS = {
    "dye": "A face that is flat but for one cause at a time is lapped, and the dye it would show is held "
    "against the picture: a zone is taken to be called gone, or fading, by the share of it that is, the "
    "nearer the likelier; when dye fades and when it is gone differs from case to case, each within a factor "
    "of 2.",
    "readings": "The crowns and the twist that each cause alone leaves are held against those the readings "
    "give, within what the readings leave open.",
}


def ranking_report(scenario: Scenario, ranked: Ranking, by: Literal["dye", "readings"] | str) -> Report:
    """The report of a ranking of causes."""
    first = ranked.causes[0]
    tone: Literal["doubt", "plain"] = "plain"
    if ranked.answer == "cannot tell":
        tone, answer = "doubt", "Cannot tell"
        near = [CAUSE_WORDS[c.cause] for c in ranked.causes if c.chance * 3.0 > first.chance]
        lead = [f"About as likely as one another: {'; '.join(near)}."]
    elif ranked.answer == "none of these":
        tone, answer = "doubt", "None of these causes alone"
        lead = ["No one cause that is at work in the scenario leaves this by itself: look for two together."]
    else:
        answer = f"Most likely: {CAUSE_WORDS[ranked.answer]}"
        ratio = "over 100" if ranked.ratio > 100.0 else number(ranked.ratio, 2)
        lead = [f"{ratio} times as likely as the next, {CAUSE_WORDS[ranked.causes[1].cause]}."]
    seen = f'Seen: "{ranked.seen}".' if by == "dye" else f"Readings after the work: {ranked.seen}."
    rows = tuple((CAUSE_WORDS[c.cause], chance(c.chance)) for c in ranked.causes)
    sections = (
        Section("Causes", (Table(("cause", "chance"), rows),)),
        Section(
            "How sure",
            (
                Words(BY_WORDS[by]),
                Words(
                    f"{ranked.members} faces and pairs of hands; all causes as likely beforehand; a cause is "
                    "named where it is 3 times as likely as the next. Two causes together are not looked at."
                ),
            ),
            aside=True,
        ),
    )
    return Report("why", answer, tone, subject(scenario), (*lead, seen), sections)


def ranking_json(scenario: Scenario, ranked: Ranking, by: str, seed: int) -> dict[str, Any]:
    """A ranking as one JSON object."""
    return {
        "schema": "handlap.why-backwards/1",
        **job_json(scenario),
        "members": ranked.members,
        "seed": seed,
        "by": by,
        "seen": ranked.seen,
        "answer": ranked.answer,
        "ratio": figure(min(ranked.ratio, 1e12)),
        "causes": [{"name": c.cause, "chance": figure(c.chance)} for c in ranked.causes],
    }
