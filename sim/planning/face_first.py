"""What the face itself decides before any lap is worked: leave it, or it cannot be told."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import stretch_of, widened
from handlap.sim.face.told import FaceDecides, too_thick
from handlap.sim.job.results import Verdict
from handlap.sim.lapping import gauge
from handlap.sim.planning.verdict import judge_face
from handlap.sim.planning.work import Job


def figures_now(job: Job) -> tuple[Array, Array]:
    """Minimum zone and straightedge's reading of every member before the work, each (members,) [m].

    Readings leave bands that are too narrow on faces of kinds the prior does not hold.
    """
    stretch = stretch_of(job.scenario.readings.table)
    zone = widened(gauge.flatness(job.gauged, job.members.before), stretch.up, stretch.down)
    edge = widened(gauge.straightedge(job.gauged, job.members.before), stretch.up, stretch.down)
    return zone, edge


def face_verdict(job: Job) -> Verdict | None:
    """The verdict where the face decides it; None where the laps have to."""
    part, faces = job.scenario.part, job.faces
    zone, edge = figures_now(job)
    return judge_face(
        float(np.mean(edge <= part.limit)),
        float(np.mean(zone <= part.limit)),
        limit=part.limit,
        limit_by=part.limit_by,
        ceiling=None if faces.ceiling is None else too_thick(part, faces.ceiling),
    )


def stop_at_face(job: Job, *, leave: bool = True) -> None:
    """Stop where the face decides: no way of working is needed, or none can be told from another.

    Parameters
    ----------
    leave : also where it is to be left as it is; without, only where no leaf goes anywhere and the
        leaves are too thick to show whether it is flat

    Raises
    ------
    FaceDecides : with the verdict
    """
    found = face_verdict(job)
    if found is None:
        return
    if leave or (job.faces.ceiling is not None and found.answer == "cannot tell"):
        raise FaceDecides(job.scenario, found)
