"""How a part is held where nobody says: by its size, and by the friction that makes it nose over."""

from __future__ import annotations

import math

from handlap.sim.common.outline import Outline
from handlap.sim.job.scenario import Hands
from handlap.sim.job.scenario_given import Given, MadeDefault
from handlap.sim.materials.metals import Metal

SMALL, LARGE = 50e-4, 350e-4
"""Faces, length × width, from which and up to which hands go higher [m²] (C)."""
LOW_HANDS, HIGH_HANDS = 0.015, 0.100
"""Height of the push over the paper on the small and on the large [m] (C)."""
NOSES_OVER = 0.2
"""Who pushes so high that friction moves the load further than this share of the part's length along the
stroke feels it nose over, and lowers the hands (C)."""
MEAN_FRICTION = {"aluminium": 1.2}
"""Friction in use over that on fresh paper, for that; metals that are not here: 1.1 (M)."""
HEIGHT_SPREAD = 1.5
WANDERS_MOST, WANDERS = 25e-3, 0.12
"""Deviation of a press that wanders along: at most, and over the side of the part (C)."""


def hand_height(area: float, along: float, friction: float) -> float:
    """Height of the push over the paper [m] on a face of this length × width [m²], ``along`` the stroke [m].

    ``friction``: coefficient on paper in use [-].

    >>> [round(1e3 * hand_height(a * b, a, 0.72)) for a, b in ((0.24, 0.14), (0.44, 0.15), (0.09, 0.07))]
    [67, 100, 19]
    """
    share = min(max((area - SMALL) / (LARGE - SMALL), 0.0), 1.0)
    return min(LOW_HANDS + share * (HIGH_HANDS - LOW_HANDS), NOSES_OVER * along / friction)


def build_hands(given: Given, face: Outline | None, metal: Metal | None, direction: float) -> Hands:
    """The hands, as stated or as the size of the part makes them.

    ``direction`` : of the strokes from the part's u axis [rad]
    """

    made: dict[str, MadeDefault] = {}
    if face is not None and metal is not None:
        lengthwise = abs(math.cos(direction)) >= abs(math.sin(direction))
        along = face.length if lengthwise else face.width
        friction = metal.friction(bool(given.get("paper.wet"))) * MEAN_FRICTION.get(metal.family, 1.1)
        made = {
            "height": MadeDefault(hand_height(face.length * face.width, along, friction), HEIGHT_SPREAD),
            "wobble_along": MadeDefault(min(WANDERS_MOST, WANDERS * along)),
        }
    return given.record(Hands, made)
