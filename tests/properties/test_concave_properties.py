"""Any face with a notch, on any paper: a pose, or the tipping in words.

Laps are drawn at random (see ``drawn_laps``), the same ones on every run; plates are often smaller than the
part, so that arms of it hang over.
"""

from __future__ import annotations

import numpy as np
import pytest
from drawn_laps import CELL, Drawn, laps
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import CONCAVE

from handlap.sim.common.errors import TippingError


@st.composite
def overhanging(draw: st.DrawFn) -> Drawn:
    """A lap of a concave face, with hands that push high and press anywhere, on a plate of any size."""
    drawn = draw(laps(kinds=CONCAVE))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    sides = np.array([drawn.length, drawn.width])
    plate = np.maximum(np.rint(sides * rng.uniform(0.4, 1.6, 2) / CELL), 2) * CELL
    strips = None
    if draw(st.booleans()):
        # Two strips with a gap between them, one of them shorter.
        middle, gap = rng.uniform(-0.3, 0.3) * plate[0], rng.uniform(0.0, 0.3) * plate[0]
        ends = plate[1] * rng.uniform(0.1, 0.5, 4)
        strips = [(-1.0, -ends[0], middle, ends[1]), (middle + gap, -ends[2], 1.0, ends[3])]
    span = min(sides)
    return drawn.with_(
        plate=tuple(plate),
        strips=strips,
        bias=tuple(0.2 * rng.uniform(-1, 1, 2) * span),
        wobble=tuple(0.3 * rng.uniform(0, 1, 2) * span),
        reach=float(rng.uniform(0.0, 0.4)) * span,
    )


def worked_or_told(drawn: Drawn) -> None:
    """The lap has poses that balance its load, row by row, or no paper under it, in words."""
    try:
        found = drawn.run()
    except TippingError as refused:
        assert "too little of the face lies on the paper" in str(refused)
        return
    assert np.isfinite(found.after).all()
    assert 0.0 <= found.run.tipped <= 1.0 and 0.0 <= found.run.clipped <= 1.0
    run = found.run
    if not drawn.given.get("ages") and not drawn.given.get("edge_rate"):
        # Closed form: k·W·s, so the force was balanced on every row.
        rate = drawn.given["rate"]
        assert run.removed_volume == pytest.approx(rate * run.load_sliding, rel=1e-9)
    elif run.deposited_volume is not None:
        assert run.deposited_volume == pytest.approx(run.removed_volume, rel=1e-11)


@settings(max_examples=100)
@given(overhanging())
def test_a_concave_face_has_a_pose_or_tips_in_words(drawn: Drawn) -> None:
    worked_or_told(drawn)


@pytest.mark.slow
@settings(max_examples=3000)
@given(overhanging())
def test_thousands_of_concave_faces_have_a_pose_or_tip_in_words(drawn: Drawn) -> None:
    worked_or_told(drawn)
