"""Whether to go on or to stop, and what to look at again first.

What the face is now is answered by :mod:`handlap.sim.bench.standing`; here only what follows from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.learn import PARTLY, Learnt
from handlap.sim.bench.standing import Standing
from handlap.sim.common import spoken

WORSE = 0.7
"""Chance that the next block makes it worse from which to stop: tried on adverse jobs, it stops in
nine of ten that get worse, and falsely in seven of a hundred."""
DEEP = 0.05
"""Chance of taking too much with the next block from which to stop."""
OUT_OF_REACH = 0.25
"""Share of the members that get there at all, at or below which the goal is out of reach by hand."""
REREAD = 30e-6
"""Readings that went up are believed from this leaf on [m]."""
SAME_STATION = 3e-3
EVEN = 0.5
"""From this chance that it got worse, stations that went up are more than a leaf's luck."""
FAR_RATE = 2.0
"""A cut this factor from what was assumed makes the first plan worthless."""

Advice = Literal[
    "go on", "goal met", "finish next", "read", "stop", "too deep", "out of reach", "cannot tell"
]
"""What to do: "finish next": flat, but not of the finish wanted; "read": it may be flat,
and readings taken now would say; "too deep": a limit of the metal that may come off is passed."""


@dataclass(frozen=True)
class Outlook:
    """What the rules look at: chances [-], ``limit`` and ``allowance`` [m]."""

    learnt: Learnt
    now: Standing
    """Where the job stands, limit by limit."""
    limit: float
    allowance: float | None
    worse: float
    """Chance that the next block makes it worse."""
    deep: float | None
    """Chance that the next block takes more than the allowance somewhere."""
    reached: float
    """Share of the members that get inside the limit by going on."""
    worsened: float | None = None
    """Chance that it got worse since the readings before the last ones; None: not two of them."""
    sure: float | None = None
    """Chance of the true face being inside that is asked for besides; None: what was checked is enough."""


def stations_up(entries: Sequence[Entry]) -> tuple[int, float]:
    """Stations that went up less those that went down since the readings before, and the thickest
    leaf that goes now [m].

    >>> stations_up([])
    (0, 0.0)
    """
    read = [e for e in entries if e.readings]
    if not read:
        return 0, 0.0
    thickest = max((s.goes for line in read[-1].readings for s in line.stations), default=0.0)
    if len(read) < 2:
        return 0, thickest
    balance = 0
    before = {line.name: line for line in read[-2].readings}
    for line in read[-1].readings:
        for s in line.stations:
            old = [o for o in before[line.name].stations if abs(o.at - s.at) <= SAME_STATION] if (
                line.name in before
            ) else []  # fmt: skip
            if old:
                balance += int(s.goes >= old[0].stops) - int(s.stops <= old[0].goes)
    return balance, thickest


def advise(found: Outlook) -> tuple[Advice, tuple[str, ...]]:
    """Stop or go on, and why: what is now comes before what the next block would do."""
    if not found.learnt.believed:
        return "cannot tell", (
            f"only {found.learnt.effective:.0f} of {found.learnt.members} members still count: the log says "
            "more than so few can carry. Run it again with more members (--members)",
        )
    advice, reasons = _by_what_is(found.now, found.sure)
    # Nobody asks what one more block would do where too much is off already.
    ahead = [] if advice == "too deep" else _what_is_next(found)
    if advice == "go on" and ahead:
        advice = "stop"
    if advice == "go on" and found.reached <= OUT_OF_REACH:
        advice = "out of reach"
        reasons.append(
            f"only {_per_cent(found.reached)} of the cases that fit the log get within "
            f"{spoken.height(found.limit)} by going on like this: lower hands, a finer paper, a better "
            "plate; or a machine shop"
        )
    if advice == "go on" and not reasons:
        reasons.append("not known to be flat enough yet, and nothing speaks against one more block")
    return advice, (*reasons, *ahead)


def _by_what_is(now: Standing, sure: float | None) -> tuple[Advice, list[str]]:
    """What the limits say to do as the face is now; what is off does not come back, so that leads."""
    flat, metal = now.flat, [x for x in now.limits if x.about == "metal"]
    if now.passed:
        names = " and ".join(x.name for x in now.passed)
        return "too deep", [
            f"more is off than the limit allows ({names}): it does not come back, and every further stroke "
            "takes more. Whether the part can still be used is for its maker's limits to say"
        ]
    if flat.read_again:
        return "read", ["readings taken now decide, before any further stroke: read the lines and log them"]
    if flat.answer != "met":
        return "go on", []
    if sure is not None and now.chance_goal < sure:
        return "go on", [
            f"it is met as checked, but you ask to be {_per_cent(sure)} sure of the true face, and it is "
            f"{_per_cent(now.chance_goal)}"
        ]
    unsure = " and ".join(x.name for x in metal if x.answer == "cannot tell")
    flat_enough = (
        "flat enough by the leaves, once they were tried again," if flat.contradicted else "flat enough,"
    )
    if unsure:
        return "stop", [f"it is flat enough, and {unsure} may be passed already: nothing is won by going on"]
    if any(x.about == "finish" and x.answer == "not met" for x in now.limits):
        return "finish next", [
            f"it is {flat_enough} and what is left is the finish, by a paper that leaves the one wanted, "
            "only until its scratches are everywhere"
        ]
    return "goal met", [f"{flat_enough} and a further stroke only takes metal"]


def _what_is_next(found: Outlook) -> list[str]:
    """What speaks against one more block."""
    reasons = []
    if found.allowance is not None and found.deep is not None and found.deep > DEEP:
        reasons.append(
            f"with the next block the deepest spot passes the allowance of {spoken.height(found.allowance)} "
            f"with a chance of {_per_cent(found.deep)}"
        )
    if found.worse > WORSE:
        reasons.append(f"the next block makes it worse with a chance of {_per_cent(found.worse)}")
    up, thickest = stations_up(found.learnt.ready.entries)
    if up >= 1 and thickest >= REREAD and (found.worsened or 0.0) >= EVEN:
        reasons.append(
            "it got worse since the readings before with a chance of "
            f"{_per_cent(found.worsened or 0.0)}, and more stations went up than down: read them again "
            "before any further stroke"
        )
    return reasons


def ask_about(learnt: Learnt) -> tuple[str, ...]:
    """What to look at again."""
    asks = []
    for doubt in learnt.doubts:
        against = "does not fit the rest of the log" if doubt.after else "is far from what was expected"
        asks.append(
            f"entry {doubt.entry}, {doubt.what}: {against} ({doubt.off:.0f} standard errors). Is it right? "
            f"If not, take the entry back (handlap log … --void {doubt.entry}) and write it anew"
        )
    up, thickest = stations_up(learnt.ready.entries)
    if up >= 1 and thickest >= REREAD:
        asks.append("more stations went up than down since the readings before: read those again first")
    cut = learnt.quantities[0]
    if cut.ratio <= PARTLY and not 1.0 / FAR_RATE < cut.shift < FAR_RATE:
        asks.append(
            f"the paper cuts {cut.shift:.2g} {'of' if cut.shift < 1.0 else 'times'} what was assumed: "
            "the first plan's strokes no longer hold"
        )
    if not learnt.ready.looks:
        asks.append("nothing was weighed or read yet: the log only counts strokes, and teaches nothing else")
    elif not any(entry.readings for entry in learnt.ready.entries):
        asks.append("no readings yet: leaves set the strokes to the goal, more than anything else does")
    return tuple(asks)


def _per_cent(chance: float) -> str:
    if chance > 0.95:
        return "over 95 %"
    return "under 5 %" if chance < 0.05 else f"{100 * chance:.0f} %"
