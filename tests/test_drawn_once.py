"""What is handed out again instead of being drawn anew is what would be drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from drawn_once import DRAWN, remembering

from handlap.sim.face import survey_sampler
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.job.scenario import Readings
from handlap.sim.job.scenario_file import load

JOB = load("two-cylinder-head")


def heights(readings: Readings = JOB.readings, seed: int = 0) -> np.ndarray:
    faces = infer_faces(JOB.part, readings, count=8, seed=seed)
    return np.asarray(faces.heights_at([[0.0, 0.03], [0.1, -0.05]]))


def test_what_is_handed_out_again_is_what_would_be_drawn():
    first = heights()
    known = len(DRAWN)
    first *= 2.0
    again = heights()
    assert len(DRAWN) == known
    with remembering(False):
        np.testing.assert_array_equal(heights(), again)


def test_other_readings_another_seed_and_another_sampler_are_drawn_by_themselves(monkeypatch):
    own = heights()
    first, *others = JOB.readings.lines
    one, *more = first.stations
    other = replace(first, stations=(replace(one, stops=2.0 * one.stops), *more))
    assert not np.array_equal(heights(replace(JOB.readings, lines=(other, *others))), own)
    assert not np.array_equal(heights(seed=1), own)
    known = len(DRAWN)
    monkeypatch.setattr(survey_sampler, "agreement", lambda chains: 1.0)
    monkeypatch.setattr(survey_sampler, "BURN_IN", 20)
    assert not np.array_equal(heights(), own)
    assert len(DRAWN) == known + 1
