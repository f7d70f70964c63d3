"""What the face itself decides before any lap is worked: leave it, or it cannot be told."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import stretch_of, widened
from handlap.sim.face.told import FaceDecides, too_thick
from handlap.sim.job.results import Verdict
from handlap.sim.lapping import gauge
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.verdict import judge_face


def figures_now(crew: Crew) -> tuple[Array, Array]:
    """Minimum zone and straightedge's reading of every member before the work, each (members,) [m].

    Readings leave bands that are too narrow on faces of kinds the prior does not hold.
    """
    stretch = stretch_of(crew.scenario.readings.table)
    zone = widened(gauge.flatness(crew.gauged, crew.members.before), stretch.up, stretch.down)
    edge = widened(gauge.straightedge(crew.gauged, crew.members.before), stretch.up, stretch.down)
    return zone, edge


def face_verdict(crew: Crew) -> Verdict | None:
    """The verdict where the face decides it; None where the laps have to."""
    part, faces = crew.scenario.part, crew.faces
    zone, edge = figures_now(crew)
    return judge_face(
        float(np.mean(edge <= part.limit)),
        float(np.mean(zone <= part.limit)),
        limit=part.limit,
        limit_by=part.limit_by,
        ceiling=None if faces.ceiling is None else too_thick(part, faces.ceiling),
    )


def stop_at_face(crew: Crew, *, leave: bool = True) -> None:
    """Stop where the face decides: no way of working is needed, or none can be told from another.

    Parameters
    ----------
    leave : also where it is to be left as it is; without, only where no leaf goes anywhere and the
        leaves are too thick to show whether it is flat

    Raises
    ------
    FaceDecides : with the verdict
    """
    found = face_verdict(crew)
    if found is None:
        return
    if leave or (crew.faces.ceiling is not None and found.answer == "cannot tell"):
        raise FaceDecides(crew.scenario, found)
