"""How far the lap of a page with knobs is from finer ones, measured on settings drawn for the job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from handlap.sim.common.errors import TippingError
from handlap.sim.job.results import Figures
from handlap.sim.lapping import gauge
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.poses import ROWS_PER_QUAD
from handlap.sim.lapping.set_up import Rig
from handlap.sim.teaching.knobs import (
    HELD,
    HIGHEST_HANDS,
    LEAST_PRESS,
    MOST_BLUNT,
    MOST_PRESS,
    ROWS,
    KnobRig,
    KnobSetting,
    lap_of,
    small_lap,
)

CAUGHT = 0.02
"""Where the hands catch the part at its edge in more of the work than this, no error is stated: how near
to the rim a load can stand is a matter of how large cells are."""
TRIALS = 12
"""Settings on which the error of the small lap is measured."""
ROOM = 2.0
"""What is stated, over the greatest share found there [-]."""
LEAST_ERROR, LEAST_SHARE = 2e-6, 0.03
"""The error of a figure is stated as the first [m] and a share, no less than the second, of the deepest cut
[-]: what few cells miss grows with how steep ends are cut."""
FINER_CELLS, FINER_ROWS = 2400, 4
"""Cells, and rows over those of the small lap, of the laps that it is measured against."""


def finer_lap(knobs: KnobRig, setting: KnobSetting, like: tuple[Rig, Gauge]) -> Figures:
    """The figures at the end of the same work on a finer grid and in finer rows [m].

    Parameters
    ----------
    like : grid and gauge to work on

    Raises
    ------
    TippingError : if the press lies off the face
    """
    quad = ROWS_PER_QUAD * knobs.strokes / (FINER_ROWS * ROWS)
    before, run = lap_of(knobs, setting, like[0], quad_strokes=quad)
    return gauge.figures(like[1], before, run.heights[-1:])


def drawn_settings(knobs: KnobRig, count: int, seed: int) -> list[KnobSetting]:
    """Settings drawn evenly over all that the knobs can be turned to."""
    rng = np.random.default_rng([seed, 17])
    found = []
    for _ in range(count):
        height, lean, press, bow, twist, blunt = rng.random(6)
        found.append(
            KnobSetting(
                height=HIGHEST_HANDS * height,
                lean=knobs.lean * (2.0 * lean - 1.0),
                press=LEAST_PRESS + (MOST_PRESS - LEAST_PRESS) * press,
                own=float(rng.integers(2)),
                bow=knobs.bend * (2.0 * bow - 1.0),
                twist=knobs.bend * (2.0 * twist - 1.0),
                turn=int(rng.integers(len(knobs.turns))),
                grit=int(rng.integers(len(knobs.papers))),
                blunt=MOST_BLUNT * blunt,
            )
        )
    return found


def measure_errors(
    knobs: KnobRig, *, trials: int = TRIALS, progress: Callable[[float, str], None] | None = None
) -> KnobRig:
    """The same with its errors: twice the greatest of the job as it stands and of some settings drawn."""
    share = dict.fromkeys(HELD, 0.0)
    finer = gauge.rig_and_gauge(knobs.scenario, cells=FINER_CELLS)
    settings = [knobs.start, *drawn_settings(knobs, trials, knobs.seed)]
    for i, setting in enumerate(settings):
        if progress is not None:
            progress(i / len(settings), "holding the page to finer laps")
        try:
            small, run = small_lap(knobs, setting)
            if run.clipped > CAUGHT:
                continue
            fine = finer_lap(knobs, setting, finer)
        except TippingError:
            # The page says of such a setting that the part tips, and no figures.
            continue
        for name in HELD:
            off = abs(float(getattr(small, name)[-1] - getattr(fine, name)[-1]))
            share[name] = max(share[name], (off - LEAST_ERROR) / float(small.greatest_depth[-1]))
    return replace(knobs, errors={name: max(LEAST_SHARE, ROOM * worst) for name, worst in share.items()})


def error_of(knobs: KnobRig, name: str, greatest_depth: float) -> float:
    """What is stated as the error of a figure where so much came off at the deepest [m]."""
    return LEAST_ERROR + knobs.errors[name] * greatest_depth
