"""Turning schedules: how part and operator stand, one after the other."""

from __future__ import annotations

import math

HALF_TURN = math.pi
SCHEDULE_STATES: dict[str, tuple[tuple[float, float], ...]] = {
    "none": ((0.0, 0.0),),
    "half": ((0.0, 0.0), (HALF_TURN, 0.0)),
    "quarter": tuple((i * HALF_TURN / 2.0, 0.0) for i in range(4)),
    "walk": ((0.0, 0.0), (0.0, HALF_TURN)),
    "half and walk": ((0.0, 0.0), (HALF_TURN, 0.0), (HALF_TURN, HALF_TURN), (0.0, HALF_TURN)),
}
"""Schedule → round of (turn of the part, turn of the operator) [rad]."""
