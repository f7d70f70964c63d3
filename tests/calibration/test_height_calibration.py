"""Do bands from tables of heights hold the truth, and is "yes" to be believed?

Dishes, bows, twists and rough faces of 0–60 µm (see ``invented_heights``), none of the kind that
is fitted, read at 4 to 60 points with errors of 1 to 20 µm; every pairing of family, raster and
error occurs once.  Bounds are binomial, as in ``test_survey_calibration``: with a true share as
claimed a run fails by chance less than once in a thousand.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from invented_heights import MAKERS, HeightCase, make_height_case
from scipy.stats import binom

from handlap.sim.face.face_numbers import stretch_of
from handlap.sim.face.survey import Survey, limit_verdict, survey_face
from handlap.sim.job.height_table import assumed_error
from handlap.sim.job.scenario import Part, Readings
from handlap.sim.materials.metals import METALS

FACES, SEED, MEMBERS = 180, 41, 100
LEAST, MOST = 0.85, 0.95
"""Coverage that is claimed of bands called 5–95 %: no less and no more."""
FAMILY_LEAST = 0.75
"""The same of each family alone."""
FALSE_YES = 0.05
"""Greatest share of faces out of limit that are called flat enough."""
CHANCE = 1e-3
LIMITS = (5e-6, 10e-6, 20e-6, 40e-6)
DIAL = 10e-6
SOURCE = "dishes, bows, twists and rough faces of 0–60 µm, none of the kind that is fitted; "
Result = tuple[HeightCase, Survey]


def survey_of(case: HeightCase) -> Survey:
    metal = next(iter(METALS.values()))
    part = Part("invented", case.outline, metal, 20.0, (0.0, 0.0), LIMITS[0], "zone", None)
    return survey_face(part, Readings(table=case.table), count=MEMBERS)


@functools.cache
def surveyed() -> tuple[Result, ...]:
    cases = [make_height_case(k, SEED) for k in range(FACES)]
    return tuple((case, survey_of(case)) for case in cases)


def by_dial(case: HeightCase) -> HeightCase:
    """The same heights read off a dial of 10 µm by somebody who states no error."""
    heights = DIAL * np.round(case.table.height / DIAL)
    return replace(case, table=replace(case.table, height=heights, sd=assumed_error(DIAL), sd_assumed=True))


def held(results: Iterable[Result]) -> list[bool]:
    return [s.bands.flatness.p05 <= case.flatness <= s.bands.flatness.p95 for case, s in results]


def answers(results: Iterable[Result], limit: float) -> list[tuple[bool, str]]:
    """For each face whether it is out of limit, and the answer."""
    return [
        (
            case.flatness > limit,
            limit_verdict(s.numbers, limit, "zone", stretch=stretch_of(case.table)).answer,
        )
        for case, s in results
    ]


@pytest.mark.slow
@pytest.mark.parametrize(("sense", "share"), [("at least", LEAST), ("at most", MOST)])
def test_bands_hold_the_truth(checked, sense, share):
    hits = held(surveyed())
    checked(
        f"bands of flatness through heights that hold the truth, of {len(hits)} invented faces, {sense}",
        expected=int(binom.ppf(CHANCE if sense == "at least" else 1.0 - CHANCE, len(hits), share)),
        got=sum(hits),
        tolerance=0.0,
        sense=sense,
        kind="known truth",
        source=f"{SOURCE}{100 * LEAST:.0f} to {100 * MOST:.0f} % claimed of bands called 5–95 %; each "
        "bound is passed 999 times in 1000",
        about="survey",
    )


@pytest.mark.slow
@pytest.mark.parametrize("family", MAKERS)
def test_no_family_is_left_out_in_the_cold(family):
    hits = held(r for r in surveyed() if r[0].family == family)
    assert sum(hits) >= int(binom.ppf(CHANCE / len(MAKERS), len(hits), FAMILY_LEAST))


@pytest.mark.slow
@pytest.mark.parametrize("limit", LIMITS)
def test_faces_out_of_limit_are_not_called_flat_enough(checked, limit):
    out = [answer for beyond, answer in answers(surveyed(), limit) if beyond]
    checked(
        f"faces beyond {1e6 * limit:.0f} µm called flat enough from heights, of {len(out)}",
        expected=int(binom.ppf(1.0 - CHANCE, len(out), FALSE_YES)),
        got=out.count("yes"),
        tolerance=0.0,
        sense="at most",
        kind="known truth",
        source=f"{SOURCE}{100 * FALSE_YES:.0f} % claimed at most; the bound is passed 999 times in 1000",
        about="survey",
    )


@pytest.mark.slow
def test_heights_are_of_use():
    """With 15 heights or more, read to 3 µm or better, more than half of all answers are given, and right."""
    good = [r for r in surveyed() if r[0].table.u.size >= 15 and r[0].table.sd < 4e-6]
    found = [pair for limit in LIMITS for pair in answers(good, limit)]
    right = sum(answer == ("no" if beyond else "yes") for beyond, answer in found)
    assert right > 0.6 * len(found)


@pytest.mark.slow
def test_bands_hold_the_truth_where_nobody_stated_the_error(checked):
    """A dial of 10 µm, with errors of 1 to 5 µm besides its rounding; 5 µm are assumed."""
    cases = (make_height_case(k, SEED + 1) for k in range(FACES))
    dialled = [by_dial(case) for case in cases if case.table.sd < 6e-6][::2]
    hits = held((case, survey_of(case)) for case in dialled)
    checked(
        f"bands of flatness that hold the truth with the error assumed from the digits, of {len(hits)} faces",
        expected=int(binom.ppf(CHANCE, len(hits), LEAST)),
        got=sum(hits),
        tolerance=0.0,
        sense="at least",
        kind="known truth",
        source=f"{SOURCE}{100 * LEAST:.0f} % claimed, the bound is passed 999 times in 1000",
        about="survey",
    )
