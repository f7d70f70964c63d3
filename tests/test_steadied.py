"""A figure of everybody, foretold from a few members: exact where it can be, left alone where it cannot."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from handlap.sim.common.outline import Array
from handlap.sim.common.steadied import FEWEST, borne_out, line_through, of_everybody
from handlap.sim.lapping.ensemble import EVEN_SCORES, SCORES, draw_scores

MEMBERS, ALL = 64, 4096
LUCK = SCORES.index("rate P120")
BAND = [5.0, 50.0, 95.0]


def known(count: int, seed: int) -> Array:
    """Scores as plans draw them, with the luck of one grade."""
    scores = draw_scores(count, seed)
    return scores[:, [*range(EVEN_SCORES), LUCK]]


EVERYBODY = known(ALL, 0)


def strokes(z: Array, rng: np.random.Generator, unknown: float = 0.0) -> Array:
    """Strokes that go with rate, ageing and the luck of a grade, and with something that nobody knows."""
    logs = 6.6 - 0.5 * z[:, 0] + 0.2 * z[:, 3] + 0.15 * z[:, -1]
    return np.exp(logs + unknown * rng.standard_normal(len(z)))


def foretold(values: Array, own: Array, seed: int = 0) -> Array:
    found = of_everybody([values], own, EVERYBODY, np.random.default_rng(seed))
    assert found is not None
    return found[0]


def test_what_is_known_exactly_is_foretold_exactly():
    """Members all from one half: their own middle is 1.4 times off, that of everybody is known."""
    rng = np.random.default_rng(1)
    own = EVERYBODY[EVERYBODY[:, 0] < 0.0][:MEMBERS]
    true, values = strokes(EVERYBODY, rng), strokes(own, rng)
    assert np.median(values) > 1.3 * np.median(true)
    assert np.percentile(foretold(values, own), BAND) == pytest.approx(np.percentile(true, BAND), rel=0.03)
    line = line_through(values, own, EVERYBODY)
    assert line.share > 0.98
    assert np.mean(np.log(true)) == pytest.approx(np.mean(line.foretell(EVERYBODY)), abs=0.01)


def test_where_nothing_is_known_members_speak_for_themselves():
    rng = np.random.default_rng(2)
    own = known(MEMBERS, 5)
    assert of_everybody([rng.lognormal(size=MEMBERS) * 100.0], own, EVERYBODY, rng) is None
    assert of_everybody([np.full(MEMBERS, 300.0)], own, EVERYBODY, rng) is None
    few = own[: FEWEST - 1]
    assert of_everybody([strokes(few, rng)], few, EVERYBODY, rng) is None


def test_a_line_that_members_do_not_bear_out_is_not_followed():
    """Those with fast paper are done at once, a thirtieth of the strokes: no line in logs, and it is seen."""
    rng = np.random.default_rng(3)
    own = known(256, 5)
    values = np.where(own[:, 0] > 0.5, 20.0 * rng.lognormal(0.0, 0.05, 256), strokes(own, rng))
    line = line_through(values, own, EVERYBODY)
    assert line.share > 0.5
    assert not borne_out(line, values, own)
    assert of_everybody([values], own, EVERYBODY, rng) is None


@pytest.mark.parametrize(("least", "most"), [(0.0, 900.0), (600.0, 1e9), (500.0, 1100.0)])
def test_heaps_at_the_ends_are_as_high_as_they_should_be_and_leave_the_middle_alone(least, most):
    """Closed form: logs are normal, so the shares beyond the ends and the middle are known."""
    rng = np.random.default_rng(4)
    variance = np.var(np.log(strokes(EVERYBODY, rng))) + 0.15**2
    law = norm(6.6, np.sqrt(variance))
    middles, low, high = [], [], []
    for seed in range(8):
        own = known(MEMBERS, 10 + seed)
        values = np.clip(strokes(own, rng, 0.15), least, most)
        found = foretold(values, own, seed)
        middles.append(np.median(found))
        low.append(np.mean(found == least))
        high.append(np.mean(found == most))
        assert found.min() >= least and found.max() <= most
    assert np.mean(np.log(middles)) == pytest.approx(6.6, abs=0.03)
    if least > 0.0:
        assert np.mean(low) == pytest.approx(law.cdf(np.log(least)), abs=0.03)
    if most < 1e6:
        assert np.mean(high) == pytest.approx(law.sf(np.log(most)), abs=0.03)


def test_papers_go_with_one_another_and_stay_on_the_looks_they_were_looked_at():
    rng = np.random.default_rng(5)
    own = known(MEMBERS, 7)
    both = 0.2 * rng.standard_normal(MEMBERS)
    first = strokes(own, rng) * np.exp(both)
    second = 80.0 * np.ceil(0.4 * strokes(own, rng) * np.exp(both) / 80.0)
    found = of_everybody([first, second], own, EVERYBODY, rng)
    assert found is not None
    assert set(np.unique(found[1])) <= set(np.unique(second))
    both_papers = np.log(found[0] + found[1])
    assert np.mean(both_papers) == pytest.approx(np.mean(np.log(first + second)), abs=0.1)
    assert np.std(both_papers) == pytest.approx(np.std(np.log(first + second)), rel=0.15)
    # With what they miss dealt out apart the sum would be held narrower than it is.
    line_first = line_through(first, own, EVERYBODY).foretell(EVERYBODY)
    line_second = line_through(second, own, EVERYBODY).foretell(EVERYBODY)
    missed = np.log(found[0]) - line_first, np.log(found[1]) - line_second
    assert np.corrcoef(*missed)[0, 1] > 0.3


def test_the_middle_holds_three_times_as_still_and_bands_hold_as_many():
    """Thirty seeds: the spread of the middle, and the share of fresh draws within the band."""
    rng = np.random.default_rng(6)
    fresh = strokes(known(1024, 99), rng, 0.15)
    plain, line, held = [], [], []
    for seed in range(30):
        own = known(MEMBERS, 100 + seed)
        values = strokes(own, rng, 0.15)
        found = foretold(values, own, seed)
        plain.append(np.median(values))
        line.append(np.median(found))
        low, high = np.percentile(found, [5.0, 95.0])
        held.append(np.mean((low <= fresh) & (fresh <= high)))
    assert np.std(np.log(line)) < np.std(np.log(plain)) / 2.0
    assert np.std(np.log(line)) < 0.03
    assert np.mean(held) == pytest.approx(0.9, abs=0.02)
