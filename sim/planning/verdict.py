"""Leave it, lap it, machine shop, or cannot tell: the lines that are drawn, and the words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handlap.sim.common import spoken
from handlap.sim.common.chance import likely, percent
from handlap.sim.face.told import Untold
from handlap.sim.job.results import Verdict, VerdictAnswer
from handlap.sim.job.scenario import LimitBy

LEAVE_AT = 0.9
"""Chance of being flat already from which the face is left alone."""
NEEDS_WORK_AT = 0.25
"""Chance of being flat already below which it counts as needing work."""
LAP_AT = 0.75
"""Chance of finishing inside limit and allowance from which lapping is advised."""
SHOP_AT = 0.25
"""Chance of finishing inside both below which it goes to a machine shop."""
DISAGREE = 0.5
"""By straightedge and by zone the face may differ; at this gap in chance the limit's sense decides."""
CLEAR = 1.5
"""One thing decides where its share is this many times that of the next."""
NUMERICS = 0.1
"""Numerical error over the limit below which it never stands in the way of a verdict."""

UNSURE: dict[str, tuple[str, str]] = {
    "face": (
        "what the face is like where nothing was read",
        "read the face again with leaves closer together, and on the line that tells most (handlap survey "
        "names it)",
    ),
    "rate": (
        "how fast the paper cuts this metal",
        "make a trial of one block and weigh the swarf: that tells how fast the paper cuts",
    ),
    "ageing": (
        "how fast the paper clogs and blunts",
        "work one sheet up in a trial, and weigh the swarf each time it is brushed",
    ),
    "rim": (
        "how the paper cuts at the rim",
        "make a trial of one block, and read the stations next to the ends again",
    ),
    "press": ("how hard the hands press", "press on a scale as on the part, and state hands.press"),
    "hands": (
        "how high and how evenly the hands push",
        "make a trial of one block on fresh dye and look where it goes (handlap why tells what that means)",
    ),
}
"""Subject → what is not known, and what would settle it."""


@dataclass(frozen=True)
class Decider:
    """A subject of :data:`UNSURE` and its share of what makes the margins differ [-]."""

    subject: str
    share: float

    @property
    def words(self) -> str:
        """What is not known."""
        return UNSURE[self.subject][0]

    @property
    def remedy(self) -> str:
        """What would settle it."""
        return UNSURE[self.subject][1]


def decided_by(found: Sequence[Decider]) -> tuple[Decider, ...]:
    """The one that decides, or the two that do about alike."""
    if len(found) > 1 and found[0].share < CLEAR * found[1].share:
        return tuple(found[:2])
    return tuple(found[:1])


@dataclass(frozen=True)
class Chances:
    """What the verdict rests on, each 0…1; ``allowance`` None where none is stated."""

    flat_straightedge: float
    flat_zone: float
    goal: float
    allowance: float | None
    both: float
    at_best: float
    """Share of members whose face stops improving short of the goal."""
    unfinished: float
    """Share that were still improving when the longest course considered ended."""
    given_up: float = 0.0
    """Share that were improving too slowly ever to get there, and were given up before."""


THRESHOLDS = {
    "leave_at": LEAVE_AT,
    "needs_work_at": NEEDS_WORK_AT,
    "lap_at": LAP_AT,
    "shop_at": SHOP_AT,
    "senses_disagree_at": DISAGREE,
    "numerical_error_over_limit": NUMERICS,
}
"""The lines, as they are written down with every verdict."""


def _wanted(limit: float, limit_by: LimitBy) -> str:
    sense = "by straightedge" if limit_by == "straightedge" else "over the whole face (minimum zone)"
    return f"{spoken.height(limit)} {sense}"


def judge_face(
    flat_straightedge: float,
    flat_zone: float,
    *,
    limit: float,
    limit_by: LimitBy,
    ceiling: Untold | None = None,
) -> Verdict | None:
    """The verdict where the face as it is decides it, whatever laps would do; None where they have to.

    Parameters
    ----------
    flat_straightedge, flat_zone : chance that it meets its limit already, in either sense [-]
    limit : [m]
    ceiling : what thin leaves would tell, where no leaf goes anywhere: that a face is not flat
        enough is then nothing that was read
    """
    flat, other = flat_straightedge, flat_zone
    if limit_by == "zone":
        flat, other = other, flat
    words = _wanted(limit, limit_by)
    if flat >= LEAVE_AT and flat - other >= DISAGREE:
        reason = (
            f"it meets {words} ({percent(flat)} sure), but measured the other way the chance is only "
            f"{percent(other)}: a twist or a dip between the lines hides from a straightedge"
        )
        remedy = "ask which sense the limit has, and set limit_by"
        return Verdict("cannot tell", (reason,), dict(THRESHOLDS), (remedy,))
    if flat >= LEAVE_AT:
        reason = f"it is inside {words} already, {percent(flat)} sure"
        return Verdict("leave", (reason,), dict(THRESHOLDS), ())
    if ceiling is not None:
        return Verdict("cannot tell", (ceiling.reason,), dict(THRESHOLDS), ceiling.to_find_out)
    return None


def judge(
    chances: Chances,
    *,
    limit: float,
    limit_by: LimitBy,
    allowance: float | None,
    decides: Sequence[Decider] = (),
) -> Verdict:
    """Draw the verdict; ``limit`` and ``allowance`` [m] are only put in words.

    ``decides``: what makes the difference where it comes out either way, the most first.
    """
    edge, zone = chances.flat_straightedge, chances.flat_zone
    found = judge_face(edge, zone, limit=limit, limit_by=limit_by)
    if found is not None:
        return found
    flat = edge if limit_by == "straightedge" else zone
    words = _wanted(limit, limit_by)
    answer: VerdictAnswer
    reasons: list[str] = []
    to_find_out: list[str] = []
    if flat > NEEDS_WORK_AT:
        answer = "cannot tell"
        reasons.append(f"the readings leave open whether it is inside {words} already ({likely(flat)})")
        to_find_out.append("read again with thinner leaves near the limit, or add the line that tells most")
        reasons.append(_prospects(chances, allowance))
    elif chances.both >= LAP_AT:
        answer = "lap"
        reasons.append(f"it is outside {words} (chance of being inside {percent(flat)})")
        reasons.append(_prospects(chances, allowance))
    elif chances.both <= SHOP_AT:
        answer = "machine shop"
        reasons.append(_prospects(chances, allowance))
        reasons.extend(_obstacles(chances, allowance))
    else:
        answer = "cannot tell"
        reasons.append(_prospects(chances, allowance))
        reasons.extend(_obstacles(chances, allowance))
        reason, remedies = _what_decides(decides)
        reasons.append(reason)
        to_find_out.extend(remedies)
    return Verdict(answer, tuple(reasons), dict(THRESHOLDS), tuple(to_find_out))


def _what_decides(decides: Sequence[Decider]) -> tuple[str, tuple[str, ...]]:
    """What makes the difference, in words, and what would settle it."""
    most = decided_by(decides)
    if not most:
        return (
            "no single thing decides: face, paper and hands all play a part",
            ("make a trial of one block, weigh the swarf and read the lines again",),
        )
    names = " and ".join(decider.words for decider in most)
    return f"what decides is mostly {names}", tuple(decider.remedy for decider in most)


def doubt_numerics(verdict: Verdict, *, error: float, result: float, limit: float) -> Verdict:
    """Take a verdict back where the error of the computation could turn it.

    Parameters
    ----------
    error : numerical error of the result [m]
    result : middle of the figure the limit is held against, after the work [m]
    limit : [m]
    """
    rests_on_lap = verdict.answer in ("lap", "machine shop")
    if not rests_on_lap or error <= NUMERICS * limit or error < abs(result - limit):
        return verdict
    apart = spoken.small_height(abs(result - limit))
    lies = f"is {apart} from" if apart else "lies right at"
    words = (
        f"the computation itself is only good to {spoken.small_height(error)} here, while the result {lies} "
        "the limit"
    )
    remedy = "take the cause of it away first (a step or an edge of the paper, most likely), and plan again"
    return Verdict(
        "cannot tell", (words, *verdict.reasons), verdict.thresholds, (remedy, *verdict.to_find_out)
    )


def _prospects(chances: Chances, allowance: float | None) -> str:
    text = (
        "going on until a check says stop, the chance to come inside the limit by hand is "
        f"{percent(chances.goal)}"
    )
    if allowance is None or chances.allowance is None:
        return text + "; no removal allowance is stated"
    return (
        f"{text}, to stay inside the allowance of {spoken.height(allowance)} {percent(chances.allowance)}, "
        f"to do both {percent(chances.both)}"
    )


def _obstacles(chances: Chances, allowance: float | None) -> list[str]:
    found = []
    if chances.at_best >= SHOP_AT:
        found.append(
            f"in {percent(chances.at_best)} of the cases the face stops improving before it is flat "
            "enough: hands, paper and plate set a floor; lower hands, a finer last paper or steadier "
            "strokes lower it"
        )
    if chances.unfinished >= SHOP_AT:
        found.append(
            f"in {percent(chances.unfinished)} of the cases it is still not flat after the longest "
            "course considered: coarser paper or more press would be needed"
        )
    if chances.given_up >= SHOP_AT:
        found.append(
            f"in {percent(chances.given_up)} of the cases it comes down far too slowly to be flat enough "
            "after the longest course considered, and is given up before: coarser paper or more press "
            "would be needed"
        )
    if allowance is not None and chances.allowance is not None and chances.allowance < LAP_AT:
        found.append("more metal has to come off the high side than the allowance leaves")
    return found
