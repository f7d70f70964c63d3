"""Everybody who could have been drawn: what is known of hands and faces before any lap."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.face.face_ensemble import FaceEnsemble
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import EVEN_SCORES, OWN_SPREADS, SCORES, scores_for
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.set_up import Rig

EVERYBODY = 4096
"""Hands of which work is foretold."""
FLAT = 1e-7
"""Less warp than this is none, for its logarithm [m]."""


@dataclass(frozen=True)
class Known:
    """What is known beforehand of the members (members, k) and of everybody (n, k); the latter's scores
    (n, all) and which of the faces each has (n,)."""

    own: Array
    all: Array
    scores: Array
    whose: NDArray[np.int64]


@dataclass(frozen=True)
class Everybody:
    """Hands and faces that could have been drawn, and the members that were.

    Attributes
    ----------
    scenario, faces, seed : as drawn; ``rig``, ``gauged``: where figures of faces are taken
    before : faces of all members that were drawn, on the rig's grid (all, n) [m]
    scores : their scores (all, k)
    who : which of them the members are (members,)
    """

    scenario: Scenario
    faces: FaceEnsemble
    rig: Rig
    gauged: Gauge
    before: Array
    scores: Array
    seed: int
    who: NDArray[np.int64]

    def some(self, index: NDArray[np.int64]) -> Everybody:
        """The same, where the members are those with these indices (k,) only."""
        return replace(self, who=self.who[index])

    @cached_property
    def known(self) -> Known:
        """What is known of members and of everybody."""
        faces = self.before
        if self.faces.drawn is not None:
            faces = self.faces.drawn.at(self.rig.grid.points)
        scores = scores_for(self.scenario, EVERYBODY, self.seed)
        whose = np.random.default_rng([self.seed, 13]).permutation(
            np.resize(np.arange(len(faces)), EVERYBODY)
        )
        luck = [SCORES.index(f"{what} {g.name}") for g in self.scenario.paper.grits for what in OWN_SPREADS]
        columns = [*range(EVEN_SCORES), *luck]
        own = np.hstack([self.scores[self.who][:, columns], self._of_faces(self.before[self.who])])
        return Known(own, np.hstack([scores[:, columns], self._of_faces(faces)[whose]]), scores, whose)

    def _of_faces(self, heights: Array) -> Array:
        """Logs of figures of faces (k, n) [m]: what is to be lapped away, and how it lies (k, 5)."""
        grid = self.rig.grid
        cells = heights[:, : grid.n_cells]
        plane = np.column_stack([np.ones(grid.n_cells), grid.u[: grid.n_cells], grid.v[: grid.n_cells]])
        level = cells - np.linalg.lstsq(plane, cells.T, rcond=None)[0].T @ plane.T
        figures = [
            gauge.flatness(self.gauged, heights),
            gauge.straightedge(self.gauged, heights),
            level.max(axis=1),
            level.std(axis=1),
            -level.min(axis=1),
        ]
        return np.asarray(np.log(np.maximum(np.column_stack(figures), FLAT)))
