"""What readings cannot tell about a face; then nothing that is built on them may tell it either.

There are two such cases.  The search for faces that fit may not settle, where readings contradict
each other: no number is then worth anything.  And no leaf may go anywhere: the readings are then a
ceiling, and of a limit below it they say nothing, whatever faces fill the room under the ceiling.

Every command that works on inferred faces gets them from :func:`faces_to_work_on`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from handlap.sim.common import spoken
from handlap.sim.common.errors import HandlapError
from handlap.sim.common.units import show
from handlap.sim.face.face_ensemble import FaceEnsemble, infer_faces
from handlap.sim.job.results import Verdict
from handlap.sim.job.scenario import LimitBy, Part, Scenario

LEAF_OF_LIMIT: dict[LimitBy, float] = {"straightedge": 0.7, "zone": 0.6}
"""A leaf of this share of the limit that goes nowhere on six lines makes the survey sure that a face is
inside it (ours: what the survey itself needs, with leaves as they are felt; a test holds it) [-]."""
THINNEST_LEAF = 10e-6
"""Thinner leaves and foils are not to be had (common practice) [m]."""


@dataclass(frozen=True)
class Untold:
    """Why readings cannot tell whether a face is flat enough, and what would."""

    reason: str
    to_find_out: tuple[str, ...]


class FaceDecides(HandlapError):
    """The face, as far as it is known, decides before any lap: leave it, or it cannot be told.

    Attributes
    ----------
    scenario : the job
    verdict : "leave" or "cannot tell", with its reasons and what to find out
    """

    exit_code = 0

    def __init__(self, scenario: Scenario, verdict: Verdict) -> None:
        self.scenario, self.verdict = scenario, verdict
        super().__init__("; ".join((verdict.answer, *verdict.reasons, *verdict.to_find_out)))


def untold(part: Part, faces: FaceEnsemble) -> Untold | None:
    """Why the readings behind these faces cannot tell whether the part meets its limit; None: they may."""
    if not faces.converged:
        return unsettled(faces)
    if faces.ceiling is not None and part.limit < faces.ceiling:
        return too_thick(part, faces.ceiling)
    return None


def unsettled(faces: FaceEnsemble) -> Untold:
    """Readings that contradict each other so flatly that the search for faces did not settle."""
    remedy = ["lay the straightedge and read every line again"]
    if faces.doubtful:
        remedy = [
            f"read again, the most doubtful first: {', '.join(faces.doubtful)}",
            "leave out, or mend, a line that was written down wrongly (ends exchanged, another leaf set)",
        ]
    return Untold(
        f"the readings contradict each other: the search for faces that fit them did not settle, begun "
        f"afresh and run longer too (agreement of its ways {faces.r_hat:.2f}, 1 is perfect), and no number "
        "that rests on them can be relied on",
        tuple(remedy),
    )


def too_thick(part: Part, ceiling: float) -> Untold:
    """No leaf goes anywhere, and the thinnest that was tried leaves it open whether the limit is met.

    Parameters
    ----------
    ceiling : the thinnest leaf that was tried [m]
    """
    limit = f"{spoken.say_height(part.limit, '.3g')}"
    reason = (
        f"no leaf goes under anywhere, and the thinnest that was tried, {_leaf(ceiling)}, cannot show "
        f"whether the face is inside {limit}: the readings are a ceiling, not a value"
    )
    return Untold(reason, (thinner_leaves(part),))


def too_thick_to_show(part: Part, leaves: Sequence[float]) -> str:
    """What to say at once where the thinnest leaf [m] is no thinner than the limit; "" where it is.

    ``leaves``: those at hand, or the one that went nowhere.
    """
    if part.limit_by == "zone" or not leaves or min(leaves) < part.limit * (1.0 - 1e-9):
        return ""
    return (
        f"The thinnest leaf, {_leaf(min(leaves))}, cannot show that the limit of {_leaf(part.limit)} is met: "
        f"{thinner_leaves(part)}."
    )


def thinner_leaves(part: Part) -> str:
    """What would tell whether a face under which no leaf goes meets its limit."""
    leaf = deciding_thickness(part.limit, part.limit_by)
    heights = "by heights: a dial indicator over the face, as a table in readings.heights"
    if leaf is None:
        return f"read {heights}; no leaf is thin enough for {spoken.say_height(part.limit, '.3g')}"
    return (
        f"read with thinner leaves, down to {_leaf(leaf)} or less: if that goes nowhere either, the face is "
        f"flat enough; or {heights}"
    )


def deciding_thickness(limit: float, limit_by: LimitBy) -> float | None:
    """Thickness of leaf that, going nowhere, shows that a limit is met [m]; None: no leaf is so thin.

    >>> [round(1e6 * (deciding_thickness(limit * 1e-6, "straightedge") or 0.0)) for limit in (10, 20, 50)]
    [0, 14, 35]
    """
    leaf = LEAF_OF_LIMIT[limit_by] * limit
    step = 5e-6 if leaf >= 20e-6 else 1e-6
    leaf = step * math.floor(leaf / step + 1e-9)
    return leaf if leaf >= THINNEST_LEAF * (1.0 - 1e-9) else None


def _leaf(thickness: float) -> str:
    return f"{spoken.say_height(thickness, '.3g')} ({show(thickness, 'height', 'inch', 2)})"


def faces_to_work_on(scenario: Scenario, *, count: int, seed: int, above: bool = True) -> FaceEnsemble:
    """Faces that fit the readings of a job, where these can tell enough to build on.

    Parameters
    ----------
    count, seed : as of :func:`handlap.sim.face.face_ensemble.infer_faces`
    above : also refuse readings that are no more than a ceiling above the limit

    Raises
    ------
    FaceDecides : where they cannot
    """
    faces = infer_faces(scenario.part, scenario.readings, count=count, seed=seed)
    found = untold(scenario.part, faces)
    if found is not None and (above or not faces.converged):
        raise FaceDecides(scenario, Verdict("cannot tell", (found.reason,), {}, found.to_find_out))
    return faces
