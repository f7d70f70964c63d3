"""Faces that fit the same readings are drawn once in a run of the tests, and handed out again.

A chain over readings takes most of a second, and hundreds of tests plan or survey the same few jobs.  What is
drawn follows from face, readings, count, seed and settings of the sampler alone, which ``test_threads.py``
and ``test_cli_survey.py`` hold, drawing anew.  Who puts something else in the sampler's place draws anew too.
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
OWN = {(module, name): function for module in (survey_sampler, survey_kernels)
       for name, function in vars(module).items() if callable(function)}  # fmt: skip
REALLY = face_ensemble.draw_faces


def draw_faces(
    basis: FaceBasis, evidence: Evidence, *, count: int, seed: int, flatness: Callable[[Array], Array]
) -> Draws:
    """As the function of that name, from memory where it was asked the same before."""
    if any(getattr(module, name) is not function for (module, name), function in OWN.items()):
        return REALLY(basis, evidence, count=count, seed=seed, flatness=flatness)
    settings = [getattr(survey_sampler, name) for name in SETTINGS]
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
