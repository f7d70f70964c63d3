"""What a comparison of ways says, in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from handlap.cli.reports.as_json import MICRON, band, job_json
from handlap.cli.reports.blocks import Block, Bullets, Picture, Report, Section, Table, Words
from handlap.cli.reports.compare_differences import columns_of, pairs_section, same_words
from handlap.cli.reports.quantity import chance, counted, height, number, quantity, stated_height
from handlap.cli.reports.wording import (
    BAND_WORDS,
    CHECKS_NOT_COUNTED,
    MINUTES_WORDS,
    TAPER_SIGNS,
    TURNS,
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
from handlap.sim.comparing.paired import SURE
from handlap.sim.comparing.turn_interval import MEASURABLE
from handlap.sim.planning.effort import MINUTES_OF

if TYPE_CHECKING:
    from handlap.sim.comparing.compare import Comparison, WayResult
    from handlap.sim.comparing.paired import Difference
    from handlap.sim.comparing.turn_interval import TurnCurve

MINUTES = (
    "Minutes count strokes at the hands' pace, 3 s for each turn, 15 s for each brushing and 3 min for each "
    f"sheet of paper, the first included (common practice); {CHECKS_NOT_COUNTED}."
)


def _name(place: int, result: WayResult) -> str:
    return f"{place} {result.way.name}"


def compare_report(found: Comparison, *, all_pairs: bool = False) -> Report:
    """The report of a comparison; ``all_pairs``: hold every way against every other."""
    answer, tone, lead = _answer(found)
    part = found.scenario.part
    sections = [
        Section("The face", (facts(("Face", face_words(part)), ("Wanted", wanted_words(part))),)),
        _ways(found),
        _shapes(found),
        pairs_section(found, all_pairs),
    ]
    if found.turns is not None:
        sections.append(_turning(found.turns, found))
    sections += doubts_section(found.scenario.warnings, found.notes)
    sections.append(assumed_section(found.scenario))
    sections.append(_how_sure(found))
    return Report("compare", answer, tone, subject(found.scenario), lead, tuple(sections))


def _answer(found: Comparison) -> tuple[str, Literal["good", "doubt", "bad", "plain"], tuple[str, ...]]:
    order = found.order
    best = found.results[order.places[0]]
    lead = [
        f"{sentence(best.way.name)[:-1]}: ends inside both limits with a chance of "
        f"{chance(best.chance_both)}, in {quantity(best.bands['minutes'], 'min')}."
    ]
    level = [i for i in order.places if order.groups[i] == 1]
    tone: Literal["good", "doubt"] = "good"
    answer = f"Best: {best.way.name}"
    rivals = [i for i in level[1:] if order.above[order.places[0], i] < SURE]
    if rivals:
        tone = "doubt"
        answer = f"Best: {best.way.name}, but not for sure"
        names = ", ".join(found.results[i].way.name for i in rivals)
        lead.append(f"Not clearly behind it: {names}.")
    elif len(level) > 1:
        lead.append(
            f"{counted(len(level), 'way')} end inside both limits about as often; this one takes least time."
        )
    lead += _out_of_parallel(found, level)
    worst = [found.results[i] for i in order.places if order.groups[i] > 1]
    if worst:
        names = ", ".join(f"{r.way.name} ({chance(r.chance_both)})" for r in worst)
        lead.append(f"Surely less likely to end inside both limits: {names}.")
    for result in found.results:
        if result.failure is not None:
            lead.append(f"{sentence(result.way.name)[:-1]} cannot be done: {result.failure}.")
    if found.turns is not None:
        lead.append(_turn_sentence(found.turns))
    return answer, tone, tuple(lead)


def _greatest_taper(result: WayResult) -> float:
    """Taper, along or across and without sign, that 19 of 20 keep under, about [m]."""
    bands = (result.bands["taper_along"], result.bands["taper_across"])
    return max(abs(end) for taper in bands for end in (taper.p05, taper.p95))


def _out_of_parallel(found: Comparison, level: Sequence[int]) -> list[str]:
    """A warning where the best way tapers the face more than another as good: no limit says so."""
    best = found.results[level[0]]
    other = min((found.results[i] for i in level), key=_greatest_taper)
    most, least = _greatest_taper(best), _greatest_taper(other)
    if most - least <= MEASURABLE:
        return []
    return [
        f"It takes the face further out of parallel, by up to {height(most, 2)} from end to end "
        f"or across, against {height(least, 2)} ({other.way.name}); no limit here counts that."
    ]


def _minutes(found: Comparison) -> Table:
    """What the minutes of every way are made of, as a plan has them."""
    rows = []
    for place, i in enumerate(found.order.places, 1):
        r = found.results[i]
        rows.append((_name(place, r), *(quantity(r.bands[name]) for name in MINUTES_WORDS)))
    return Table(("way", *(f"{words}\nmin" for words in MINUTES_WORDS.values())), tuple(rows), wraps=0)


def _ways(found: Comparison) -> Section:
    rows = []
    for place, i in enumerate(found.order.places, 1):
        r = found.results[i]
        rows.append(
            (
                _name(place, r),
                _percent(r.chance_goal),
                "" if r.chance_allowance is None else _percent(r.chance_allowance),
                quantity(r.bands["minutes"]),
                quantity(r.bands["strokes"], whole=True),
                quantity(r.bands["sheets"], whole=True),
                _sureness(found, place - 1),
            )
        )
    heads = (
        "way",
        "goal\n%",
        "allowance\n%",
        "minutes",
        "strokes",
        "sheets",
        "before\nnext %",
    )
    words = (
        "By the chance to end inside both limits; where that does not differ for sure, by the minutes. The "
        "last column: how sure each is of its place before the next."
    )
    blocks: list[Block] = [Words(words), Table(heads, tuple(rows), wraps=0), Words(MINUTES), _minutes(found)]
    short = [r for r in found.results if r.over_stock]
    if short:
        blocks.append(
            Bullets(
                tuple(
                    f"{r.way.name}: takes more paper than there is with a chance of "
                    f"{chance(r.over_stock or 0.0)}"
                    for r in short
                )
            )
        )
    return Section("The ways, best first", tuple(blocks))


def _percent(value: float) -> str:
    return chance(value).removesuffix(" %").replace("over ", "> ").replace("under ", "< ")


def _sureness(found: Comparison, place: int) -> str:
    if place + 1 >= len(found.order.places):
        return ""
    return f"{100 * found.order.confidence(place):.0f}"


def _shapes(found: Comparison) -> Section:
    heads = (
        "way",
        f"straightedge\n{height_unit()}",
        f"flatness\n{height_unit()}",
        f"deepest\n{height_unit()}",
    )
    tapers = ("way", f"taper along\n{height_unit()}", f"taper across\n{height_unit()}")
    rows = _bands_of(found, ("straightedge", "flatness", "greatest_depth"))
    taper_rows = _bands_of(found, ("taper_along", "taper_across"))
    ways = Picture(
        "ways.png",
        "What each way has more or less of than the first, inside each face and pair of hands.",
        f"A row for each way, a column for each figure: the middle and 90 of 100 cases of the difference "
        f"from the first way. {same_words(found)} The next table has the figures.",
    )
    maps = Picture(
        "removed.png",
        "Where the metal comes off, on one scale: the mean over all faces and hands.",
        "Maps of the depth removed by the first way and by those that differ from it; the table has the "
        "deepest spot and the taper.",
    )
    return Section(
        "How the face comes out",
        (
            Table(heads, rows, wraps=0),
            Table(tapers, taper_rows, wraps=0),
            Words(f"Taper: {TAPER_SIGNS}."),
            ways,
            *((Words(same_words(found)),) if same_words(found) else ()),
            maps,
        ),
    )


def _bands_of(found: Comparison, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Rows of a table: the ways in their order, and these heights of each."""
    return tuple(
        (_name(place, found.results[i]), *(microns(found.results[i].bands[name], "") for name in names))
        for place, i in enumerate(found.order.places, 1)
    )


def _turn_sentence(turns: TurnCurve) -> str:
    """How often to turn and why, from what the curve shows."""
    how = TURNS.get(turns.schedule, turns.schedule)
    if turns.harmless:
        return (
            f"How often to turn ({how}): within {turns.strokes} strokes on {turns.paper} it makes no "
            f"difference that can be measured, for even never turned the taper grows by only "
            f"{height(float(turns.taper_cost[-1, 1]), 2)}: these hands lean little to one side."
        )
    if turns.largest is None:
        return (
            f"How often to turn ({how}): at every stroke, for already blocks of {turns.intervals[1]} strokes "
            "to one side leave a difference that can be measured."
        )
    k = turns.intervals.index(turns.largest)
    left, never = (number(per_height() * float(turns.taper[i, 1]), 2) for i in (k, -1))
    return (
        f"How often to turn ({how}): every {turns.largest} strokes or sooner costs nothing that can be "
        f"measured, for in that time only {height(turns.depth, 2)} comes off "
        f"({number(turns.depth / turns.bedding, 2)} of the {height(turns.bedding, 2)} to which "
        f"{turns.paper} beds in), and of the slant that one-sided hands cut in it the turned blocks leave "
        f"{left} {height_unit()}, against {never} {height_unit()} never turned."
    )


def _turning(turns: TurnCurve, found: Comparison) -> Section:
    from handlap.sim.job.results import Band

    held = columns_of(found)[1]
    um = height_unit()
    heads = ("strokes\nper turn", f"{held}\n{um}", f"costs\n{um}", f"taper\n{um}", f"costs\n{um}")
    rows = []
    for k, every in enumerate(turns.intervals):
        last = k + 1 == len(turns.intervals)
        cells = [
            microns(Band(*map(float, a[k])), "")
            for a in (turns.flatness, turns.cost, turns.taper, turns.taper_cost)
        ]
        mark = " *" if every == turns.largest and not turns.harmless else ""
        name = "never" if last else f"{every}{mark}"
        rows.append((name, cells[0], "" if k == 0 else cells[1], cells[2], "" if k == 0 else cells[3]))
    words = (
        f"{turns.strokes} strokes on {turns.paper}, the same {turns.members} faces and pairs of hands in "
        "each row. Taper: the greater of along and across, without sign. Costs: over turning at each stroke."
    )
    if not turns.harmless and turns.largest is not None:
        words += (
            f" * the largest interval that costs under {stated_height(MEASURABLE)} in 19 of 20, which "
            "is what a dial indicator tells (common practice)."
        )
    curve = Picture(
        "turns.png",
        "Flatness and taper against strokes per turn, from every stroke to never.",
        "Curves of flatness and taper against strokes per turn; the table has the figures.",
    )
    return Section(
        "How often to turn", (Words(_turn_sentence(turns)), Table(heads, tuple(rows)), Words(words), curve)
    )


def _how_sure(found: Comparison) -> Section:
    shrunk = found.shrunk
    rows = facts(
        (
            "Bands",
            f"{found.members} faces and pairs of hands that fit what is known, the same in every way; seed "
            f"{found.seed}. {BAND_WORDS}",
        ),
        (
            "Pairing",
            None
            if shrunk is None
            else "taking differences inside each of them narrows the spread of those in minutes "
            f"{number(shrunk, 2)} times",
        ),
        (
            "Places",
            "how sure: share of ensembles, drawn again from the members, that put two ways in this order; "
            f"chances differ for sure where the sign test says so at {100 * SURE:.0f} %",
        ),
        ("Numerical error", error_words(found.errors, found.scenario.system)),
    )
    return Section("How sure", (rows,), aside=True)


def _difference_json(d: Difference, factor: float) -> dict[str, Any]:
    return {
        "mean": figure(d.mean, factor),
        "band": band(d.band, factor),
        "more_than_spread": d.size,
        "spread_shrunk_by": figure(d.shrunk),
    }


UNITS = {
    "flatness": ("flatness_um", MICRON),
    "straightedge": ("straightedge_um", MICRON),
    "greatest_depth": ("greatest_depth_um", MICRON),
    "mean_depth": ("mean_depth_um", MICRON),
    "taper_along": ("taper_along_um", MICRON),
    "taper_across": ("taper_across_um", MICRON),
    "taper": ("greater_taper_um", MICRON),
    "goal": ("chance_goal", 1.0),
    "allowance": ("chance_allowance", 1.0),
    "both": ("chance_both", 1.0),
    "strokes": ("strokes", 1.0),
    "minutes": ("minutes", 1.0),
    **{name: (name, 1.0) for name in MINUTES_OF},
    "sheets": ("sheets", 1.0),
    "work": ("work_kj", 1e-3),
}
"""Figure → its name in JSON and the factor to its unit there."""


def compare_json(found: Comparison) -> dict[str, Any]:
    """The whole comparison as one JSON object."""
    places = {i: place for place, i in enumerate(found.order.places, 1)}
    turns = found.turns

    return {
        "schema": "handlap.compare/1",
        **job_json(found.scenario),
        "members": found.members,
        "seed": found.seed,
        "depths_um": said_value(found.depths, MICRON),
        "ways": [
            {
                "name": r.way.name,
                "place": places.get(i),
                "group": found.order.groups[i] if i in places else None,
                "sure_before_next": figure(found.order.confidence(places[i] - 1))
                if i in places and places[i] < len(places)
                else None,
                "cannot_be_done": r.failure,
                "papers": list(r.papers),
                **{UNITS[name][0]: band(b, UNITS[name][1]) for name, b in r.bands.items()},
                **said_of(r, "chance_goal chance_allowance chance_both"),
                "chance_over_stock": figure(r.over_stock),
                "measured_against_depth_um": said_value(r.curve, MICRON),
                "step_error_um": figure(r.step_error, MICRON),
            }
            for i, r in enumerate(found.results)
        ],
        "pairs": [
            {
                "first": found.results[p.first].way.name,
                "second": found.results[p.second].way.name,
                "second_less_first": {
                    UNITS[name][0]: _difference_json(d, UNITS[name][1]) for name, d in p.differences.items()
                },
            }
            for p in found.pairs
        ],
        "spread_shrunk_by": figure(found.shrunk),
        "turns": None
        if turns is None
        else {
            **said_of(
                turns,
                "schedule paper strokes members intervals flatness taper cost taper_cost largest harmless",
            ),
            "words": _turn_sentence(turns),
        },
        **said_of(found, "errors notes"),
    }
