"""Pictures of a re-plan: the course so far and to come with what was measured, and the face as it is now."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from handlap.cli.drawing.course_drawing import BEYOND_STOP, DrawnCourse, Marks, MeasuredMark, course_figure
from handlap.cli.drawing.pictures import STYLE, png, warp_figure
from handlap.cli.reports.wording import microns
from handlap.sim.bench.log_evidence import Weighing
from handlap.sim.bench.standing import shown_member
from handlap.sim.materials.mass import mean_depth

if TYPE_CHECKING:
    from handlap.sim.bench.learn import Learnt
    from handlap.sim.bench.replan import Replan
    from handlap.sim.bench.standing import Standing
    from handlap.sim.job.results import Curve
    from handlap.sim.job.scenario import Part, StraightedgeLine

SURE = 1.645
"""Standard errors to either side that hold 90 of 100."""


def replan_pictures(found: Replan) -> dict[str, bytes]:
    """PNG by name: course, and warp (before the first stroke and now)."""
    with matplotlib.rc_context(STYLE):
        return {name: png(figure) for name, figure in replan_figures(found).items()}


def replan_figures(found: Replan) -> dict[str, Figure]:
    """The pictures of a re-plan by the names of their files."""
    total, going = found.rest.total, found.verdict.answer in ("go on", "cannot tell")
    curve, strokes = found.rest.curve, found.log.strokes
    end = total.p95 if total is not None else float(curve.strokes[-1])
    course = course_figure(
        _course(curve),
        found.scenario.part,
        f"from the start; {strokes} are done",
        Marks(
            best=found.best.strokes if 0 < found.best.strokes < strokes else None,
            planned=strokes + found.next.strokes if going else None,
            planned_words="next look",
            stops=(max(total.p05, strokes), total.p95) if going and total is not None else None,
            done=strokes,
            leaves=leaves_read(found),
            weighed=weighed(found.learnt),
            old=_course(found.first.curve),
        ),
        look_at=max(BEYOND_STOP * end, strokes + 2.0 * found.next.strokes),
    )
    return {"course.png": course, "warp.png": then_and_now(found.scenario.part, found.learnt, found.now)}


def then_and_now(part: Part, learnt: Learnt, now: Standing) -> Figure:
    """The face before the first stroke and now, as learnt: one of the cases, the figures those of all."""
    shown = shown_member(learnt)
    start = next((q.after for q in learnt.quantities if q.name == "face"), None)
    told = () if start is None else (f"flatness {microns(start)}", f"flatness {microns(now.flatness)}")
    return warp_figure(
        part.outline,
        learnt.ready.rig.grid,
        learnt.posterior.before[shown],
        learnt.now[shown],
        told=told,
        names=("Before the first stroke", "Now"),
    )


def _course(curve: Curve) -> DrawnCourse:
    return DrawnCourse(
        curve.strokes, curve.flatness, curve.straightedge, curve.greatest_depth, curve.mean_depth
    )


def leaves_read(found: Replan) -> list[MeasuredMark]:
    """The widest gap that was read, before the first stroke and at every look."""
    looks = [(0, found.scenario.readings.lines)]
    looks += [(entry.at, entry.readings) for entry in found.log.standing]
    return [widest(at, lines) for at, lines in looks if any(line.stations for line in lines)]


def widest(strokes: int, lines: Sequence[StraightedgeLine]) -> MeasuredMark:
    """The widest gap of a look: no less than any leaf that goes, no more than the thickest that stops."""
    stations = [station for line in lines for station in line.stations]
    return MeasuredMark(strokes, max(s.goes for s in stations), max(s.stops for s in stations))


def weighed(learnt: Learnt) -> list[MeasuredMark]:
    """Mean depth from the first stroke by the scale, where weighings reach back to it without a gap."""
    ready = learnt.ready
    part, course = ready.scenario.part, ready.course
    done = dict(zip(course.state, course.strokes, strict=True))
    reached: dict[str, dict[int, tuple[float, float]]] = {}
    found = []
    for look in ready.looks:
        if not isinstance(look, Weighing):
            continue
        by_words = reached.setdefault(look.words, {0: (0.0, 0.0)})
        if look.first not in by_words:
            continue
        mass, variance = by_words[look.first]
        now = mass + look.mass / look.kept, variance + (look.sd / look.kept) ** 2
        by_words[look.last] = now
        ends = (now[0] - SURE * np.sqrt(now[1]), now[0], now[0] + SURE * np.sqrt(now[1]))
        low, middle, high = (
            float(mean_depth(max(m, 0.0), part.metal.density, part.outline.area)) for m in ends
        )
        found.append(MeasuredMark(done[look.last], low, high, middle))
    return found
