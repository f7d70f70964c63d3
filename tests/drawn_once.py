"""Faces that fit the same readings are drawn once in a run of the tests, and handed out again.

A chain over readings takes most of a second, and hundreds of tests plan or survey the same few jobs.  What is
drawn follows from face, readings, count, seed and settings of the sampler alone, which ``test_threads.py``
and ``test_cli_survey.py`` hold, drawing anew.  What a test puts in the sampler's place counts among the
settings.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest

from handlap.sim.common.outline import Array
from handlap.sim.face import face_ensemble, survey_kernels, survey_sampler
from handlap.sim.face.face_prior import FaceBasis
from handlap.sim.face.survey_sampler import Draws, Evidence

DRAWN: dict[bytes, Draws] = {}
SETTINGS = sorted(name for name in vars(survey_sampler) if name.isupper())
OWN = {
    (module, name): function
    for module in (survey_sampler, survey_kernels)
    for name, function in vars(module).items()
    if callable(function)
}
REALLY = survey_sampler.draw_faces
STRANGERS: list[object] = []
"""What tests put in the sampler's place, kept so that no other ever takes its number."""


def draw_faces(
    basis: FaceBasis, evidence: Evidence, *, count: int, seed: int, flatness: Callable[[Array], Array]
) -> Draws:
    """As the function of that name, from memory where it was asked the same before."""
    now = {(module, name): getattr(module, name) for module, name in OWN}
    strangers = [function for at, function in now.items() if function is not OWN[at]]
    STRANGERS.extend(strangers)
    settings = [getattr(survey_sampler, name) for name in SETTINGS], [id(function) for function in strangers]
    laws = basis.log_scale, basis.spread, basis.mean, basis.at(evidence.lines.points)
    key = pickle.dumps((basis.outline.rim, basis.outline.openings, laws, evidence, count, seed, settings))
    if key not in DRAWN:
        DRAWN[key] = REALLY(basis, evidence, count=count, seed=seed, flatness=flatness)
    return replace(DRAWN[key], coefficients=DRAWN[key].coefficients.copy())


@contextmanager
def remembering(yes: bool) -> Iterator[None]:
    """Whether faces are handed out again meanwhile."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(face_ensemble, "draw_faces", draw_faces if yes else REALLY)
        yield
