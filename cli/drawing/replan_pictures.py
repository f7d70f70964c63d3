"""Pictures of a re-plan: the course so far and to come, and the face as it is now."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib
import numpy as np

from handlap.cli.drawing.pictures import STYLE, Course, course_figure, png, warp_figure

if TYPE_CHECKING:
    from handlap.sim.bench.replan import Replan


def replan_pictures(found: Replan) -> dict[str, bytes]:
    """PNG by name: course, and warp (before the first stroke and now)."""
    curve, learnt = found.curve, found.learnt
    bench = learnt.workshop.bench
    now = learnt.now
    typical = int(np.argmin(np.sum((now - np.median(now, axis=0)) ** 2, axis=1)))
    end = found.total.p95 if found.total is not None else float(curve.strokes[-1])
    with matplotlib.rc_context(STYLE):
        course = course_figure(
            Course(curve.strokes, curve.flatness, curve.straightedge, curve.greatest_depth),
            found.scenario.part,
            f"from the start; {found.strokes} are done",
            best=found.best.strokes if 0 < found.best.strokes < found.strokes else None,
            planned=found.strokes + found.block if found.advice == "go on" else None,
            look_at=max(1.2 * end, found.strokes + 3.0 * found.block),
        )
        return {
            "course.png": png(course),
            "warp.png": png(
                warp_figure(
                    found.scenario.part.outline, bench.grid, learnt.posterior.before[typical], now[typical]
                )
            ),
        }
