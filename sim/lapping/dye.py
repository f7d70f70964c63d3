"""The dye: where a film put on before a block of strokes has begun to fade, and where it is gone.

Dye fades once the tops of the face it lies on have lost some metal, and is gone once the valleys of
the scratches under it have gone too.  Here and everywhere else "faded" means fading or gone, so that
what is gone is part of what has faded.  How deep either takes is known poorly, and drawn for each
member of an ensemble apart from its hands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Uncertain
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.metals import Metal

Map = NDArray[np.bool_] | Array
"""Where something is so, or the chance that it is."""

FADES = Uncertain(1e-6, 0.5e-6, 2e-6, "lognormal", "")
"""Depth of metal after which dye is seen to fade [m]; ×/÷ 2, common practice."""
FILM = Uncertain(1e-6, 0.5e-6, 2e-6, "lognormal", "")
"""What the film itself is worth in metal [m]; ×/÷ 2, D: 2–3 µm thick (common practice), but soft."""
VALLEYS = Uncertain(1.5, 0.75, 3.0, "lognormal", "")
"""Depth, in Ra of the dyed face, after which its valleys have lost their dye [-]; ×/÷ 2, D: valleys reach
3–3.7 Ra under the mean line, and dye in their bottoms alone is not seen."""
LAW = (FADES, FILM, VALLEYS)
"""In the order of the columns of :func:`draw_dye_scores`."""
TAIL = 2.326
"""Scores are held within this, as those of hands and paper are: between the 1 and the 99 % points."""
RENEW_BELOW = 0.5
"""Dye is put on again once less than this share of it is left."""


@dataclass(frozen=True)
class DyeDraw:
    """The dye of one member: when it fades and when it is gone; without arguments the middle of all.

    ``fades``, ``film`` [m], ``valleys`` [Ra of the dyed face].
    """

    fades: float = FADES.value
    film: float = FILM.value
    valleys: float = VALLEYS.value

    def gone_at(self, roughness: float) -> float:
        """Depth [m] off a face of this Ra [m] after which its dye is gone."""
        return self.film + self.valleys * roughness

    def faded_at(self, roughness: float) -> float:
        """Depth [m] after which it is fading or gone: what is gone has faded."""
        return min(self.fades, self.gone_at(roughness))


MIDDLE_DYE = DyeDraw()


def draw_dye_scores(members: int, seed: int) -> Array:
    """Standard normal scores (members, 3), apart from those of hands, paper and plate."""
    return np.clip(np.random.default_rng([seed, 13]).standard_normal((members, len(LAW))), -TAIL, TAIL)


def dye_at(scores: Array) -> DyeDraw:
    """The dye of the member with standard normal scores (3,); zeros give the middle.

    >>> dye_at(np.zeros(3)) == MIDDLE_DYE
    True
    """
    return DyeDraw(*(float(law.at(float(z))) for law, z in zip(LAW, scores, strict=True)))


def draw_dyes(members: int, seed: int) -> tuple[DyeDraw, ...]:
    """The dye of every member."""
    return tuple(dye_at(scores) for scores in draw_dye_scores(members, seed))


def roughness_dyed(grit: Grit, metal: Metal, *, worked: bool) -> float:
    """Ra of a face when it is dyed [m].

    Parameters
    ----------
    grit : the paper it was worked with, or (not worked yet) will be worked with first
    worked : whether this paper left it, worn, with a share of its own Ra
    """
    return grit.worn_roughness(metal) if worked else grit.roughness_median(metal)


def beyond(removed: NDArray[np.floating], depth: Array | float) -> NDArray[np.bool_]:
    """Where more than a depth, one or (…, 1), has come off: removal (…, n) since the face was dyed [m].

    >>> beyond(np.array([1e-6, 9e-6]), 2e-6).tolist()
    [False, True]
    """
    return np.asarray(removed) > depth


def share_of(where: Map, area: Array) -> Array:
    """Share of the face, by maps (…, n) of 0 and 1 and areas (n,) [-]."""
    found: Array = np.clip((where @ area) / area.sum(), 0.0, 1.0)
    return found


@dataclass(frozen=True)
class DyeCourse:
    """The dye at every look.

    Attributes
    ----------
    gone, faded : where it is gone, and where fading or gone (looks, n), before it is put on again
    left : share of the face on which it is not gone (looks,) [-]
    faded_share : share on which it is fading or gone (looks,) [-]
    """

    gone: NDArray[np.bool_]
    faded: NDArray[np.bool_]
    left: Array
    faded_share: Array


def follow(
    start: Array,
    looks: NDArray[np.floating],
    area: Array,
    draw: DyeDraw,
    roughness_before: float,
    roughness: float,
    *,
    renews: NDArray[np.bool_] | None = None,
) -> DyeCourse:
    """The dye at every look of one face that is dyed at the start and again when half of it is gone.

    Parameters
    ----------
    start : the face when it is dyed first (n,) [m]
    looks : the face at every look (looks, n) [m]
    area : of each point (n,) [m²]
    draw : when dye fades and is gone
    roughness_before, roughness : Ra of the face when dyed first, and later [m]
    renews : at which looks (looks,) dye may be put on again; None: at all of them

    >>> faces = np.array([[-2e-6, 0.0], [-8e-6, -0.8e-6], [-12e-6, -8e-6]])
    >>> found = follow(np.zeros(2), faces, np.ones(2), DyeDraw(0.5e-6, 1e-6, 0.0), 0.0, 0.0)
    >>> found.left.tolist(), found.faded_share.tolist()
    ([0.5, 0.5, 0.0], [0.5, 1.0, 1.0])
    """
    gone = np.empty(looks.shape, dtype=bool)
    faded = np.empty(looks.shape, dtype=bool)
    left = np.empty(looks.shape[0])
    dyed, ra = np.asarray(start, dtype=float), roughness_before
    for i, face in enumerate(looks):
        off = dyed - face
        gone[i], faded[i] = beyond(off, draw.gone_at(ra)), beyond(off, draw.faded_at(ra))
        left[i] = 1.0 - share_of(gone[i], area)
        if left[i] < RENEW_BELOW and (renews is None or renews[i]):
            dyed, ra = face, roughness
    return DyeCourse(gone, faded, left, share_of(faded, area))


def tone(gone: Map, faded: Map) -> Array:
    """How much of the dye is there, for a picture, from maps or chances: 1 full, ½ fading, 0 gone."""
    found: Array = 1.0 - 0.5 * (np.asarray(gone, dtype=float) + np.asarray(faded, dtype=float))
    return found
