"""When a face is done: what the user can check at the bench, and what is still missing to check it.

By straightedge a face is done when a leaf no thicker than the limit goes in at no station of any
line.  That is the goal of every plan, sheet, re-plan and record; the chance that the true face is
inside its limit, between the stations too, stands beside it and does not replace it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from handlap.sim.common import spoken
from handlap.sim.common.chance import percent
from handlap.sim.face.stations import MeasuringLine, same_line
from handlap.sim.job.scenario import LimitBy, StraightedgeLine

SAME_STATION = 3e-3
"""A leaf tried this near to a station is named by it [m]."""
NEAR_END = 10e-3
"""A line is read to its end if leaves were tried this near to its outer stations: ends roll off over the last
10 to 25 mm (common practice) [m]."""
WIDEST_GAP = 0.35
"""… and all along if nowhere more of its length lies between two stations (ours) [-]."""
EQUAL = 1e-9
"""Thicknesses that differ by no more than this are one [m]."""
HARDLY = 0.05
"""Chance below which a limit that is met as checked contradicts what was read before and logged [-]: our
choice, and the least that an ensemble tells."""

CheckState = Literal["met as checked", "not met", "open"]


@dataclass(frozen=True)
class Checked:
    """A face held against its limit by the straightedge, as anybody at the bench would.

    Attributes
    ----------
    answer : "open": something is missing
    tried : the thinnest leaf that goes in at no station that was read, where there is one [m]
    takes : stations at which a leaf as thick as the limit goes in, or a thicker one
    untold : stations at which no leaf as thin as the limit was tried, or none between
    missing : lines that were not read, or only in part
    """

    answer: CheckState
    tried: float | None
    takes: tuple[str, ...]
    untold: tuple[str, ...]
    missing: tuple[str, ...]


def check_lines(limit: float, lines: Sequence[MeasuringLine], read: Sequence[StraightedgeLine]) -> Checked:
    """Hold readings against a limit, line by line.

    Parameters
    ----------
    limit : [m]
    lines : those of the measuring sheet, with their stations
    read : readings taken on the face as it is now
    """
    takes: list[str] = []
    untold: list[str] = []
    missing: list[str] = []
    thinnest = 0.0
    for line in lines:
        own = [station for reading in read if same_line(reading, line) for station in reading.stations]
        stations = sorted(own, key=lambda station: station.at)
        if not stations:
            missing.append(f"{line.letter} ({line.name})")
            continue
        if not _read_along(line, [s.at for s in stations]):
            missing.append(f"{line.letter} ({line.name}) but for a part")
        for station in stations:
            thinnest = max(thinnest, station.stops)
            if station.goes >= limit - EQUAL:
                takes.append(_label(line, station.at))
            elif station.stops > limit + EQUAL:
                untold.append(_label(line, station.at))
    answer: CheckState = "not met" if takes else "open" if untold or missing else "met as checked"
    tried = thinnest if thinnest > 0.0 and not takes and not untold else None
    return Checked(answer, tried, tuple(takes), tuple(untold), tuple(missing))


def _read_along(line: MeasuringLine, at: Sequence[float]) -> bool:
    """Whether leaves tried at these places [m], rising, show the whole of a line."""
    if not line.at:
        return True
    ends = at[0] <= line.at[0] + NEAR_END and at[-1] >= line.at[-1] - NEAR_END
    widest = max((b - a for a, b in pairwise(at)), default=line.length)
    # Openings leave gaps that nobody can read in.
    allowed = max(WIDEST_GAP * line.length, max((b - a for a, b in pairwise(line.at)), default=0.0))
    return ends and widest <= allowed + SAME_STATION


def _label(line: MeasuringLine, at: float) -> str:
    """What a place on a line is called: by its station, or in millimetres along it."""
    for number, station in enumerate(line.at):
        if abs(station - at) <= SAME_STATION:
            return line.label(number)
    return f"{line.letter} at {spoken.position(at)}"


def leaf_as_stamped(thickness: float) -> str:
    """A thickness [m] in words.

    >>> leaf_as_stamped(50e-6)
    '50 µm'
    """
    return spoken.leaf(thickness, 3)


def deciding_leaf(limit: float, leaves: Sequence[float]) -> float | None:
    """The leaf that shows, by going nowhere, that a limit is met [m]; None: all are too thick.

    >>> deciding_leaf(50e-6, [30e-6, 40e-6, 60e-6])
    4e-05
    """
    return max((leaf for leaf in leaves if leaf <= limit + EQUAL), default=None)


def goal_words(
    limit: float, limit_by: LimitBy, leaves: Sequence[float], say: Callable[[float], str] = leaf_as_stamped
) -> str:
    """When a face is done, in one sentence without its stop: the same wherever it is said.

    Parameters
    ----------
    leaves : those at hand [m]
    say : puts a thickness in words

    >>> goal_words(50e-6, "straightedge", [30e-6, 50e-6])
    'done when the 50 µm leaf goes in at no station of any line'
    """
    if limit_by == "zone":
        return (
            f"done when heights taken over the face lie in a zone of {say(limit)}; a straightedge alone does "
            "not show that, so type what it reads in and ask handlap survey"
        )
    leaf = deciding_leaf(limit, leaves)
    if leaf is None:
        return (
            f"no leaf as thin as the limit of {say(limit)} is at hand: leaves alone cannot show that it is "
            "met. Get a thinner one, or take heights"
        )
    under = "" if leaf > limit - EQUAL else f" (the thickest at hand within the limit of {say(limit)})"
    return f"done when the {say(leaf)} leaf{under} goes in at no station of any line"


def check_words(found: Checked, limit: float, say: Callable[[float], str] = leaf_as_stamped) -> str:
    """What a check by the straightedge came to, in words; with what is missing, line by line."""
    if found.answer == "met as checked":
        leaf = say(found.tried or limit)
        return f"as checked: the {leaf} leaf goes in at no station of any line"
    if found.answer == "not met":
        return f"as checked: a leaf as thick as the limit goes in at {_listed(found.takes)}"
    parts = []
    if found.missing:
        parts.append(f"not read: {_listed(found.missing)}")
    if found.untold:
        parts.append(
            f"no leaf as thin as {say(limit)} was tried where a thicker one stopped, at "
            f"{_listed(found.untold)}: a thinner leaf would tell more"
        )
    return "; ".join(parts)


def against_words(chance: float) -> str:
    """What to check where a face is met as checked, and everything else leaves that hardly a chance; "" where
    it leaves more.

    Parameters
    ----------
    chance : of the face being inside its limit by the readings before and after and the log together [-]

    >>> against_words(0.2)
    ''
    """
    if chance >= HARDLY:
        return ""
    return (
        "but the readings before, the strokes and what was weighed leave that a chance of "
        f"{percent(chance)}, and both cannot be right: wipe face and straightedge and try the leaf at every "
        "station once more; "
        "if it still goes in nowhere, look for the slip in the readings before, the strokes or the weights"
    )


def _listed(names: Sequence[str], most: int = 8) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
