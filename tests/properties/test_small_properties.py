"""What holds of units, texts, dye and comparisons of members, whatever they are given."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import binomtest

from handlap.sim.common import units
from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.validity import Check, Checks, Made, from_text, to_text
from handlap.sim.comparing.paired import chance_difference, difference, sign_chance
from handlap.sim.job.height_table import parse_height_table
from handlap.sim.job.toml_edit import add_key, key_text, value_text
from handlap.sim.lapping import dye

many = settings(max_examples=100)
finite = st.floats(-1e9, 1e9, allow_nan=False)
systems = st.sampled_from(["mm", "inch"])

# ---- units


@many
@given(finite, st.sampled_from(sorted(units.QUANTITIES)), systems)
def test_units_come_back(value, quantity, system):
    there = units.to_si(value, quantity, system)
    assert units.from_si(there, quantity, system) == pytest.approx(value, rel=4e-16 * 2, abs=1e-300)


@many
@given(st.floats(1e-3, 1e6), st.sampled_from(["length", "height", "force"]), systems)
def test_what_is_shown_can_be_typed_in(value, quantity, system):
    """A quantity in print, read back, is the quantity to the digits printed."""
    shown = units.show(units.to_si(value, quantity, system), quantity, system, digits=9)
    assert units.parse_quantity(shown, quantity) == pytest.approx(
        units.to_si(value, quantity, system), rel=1e-8
    )


# ---- texts


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=12)
# Numbers are written to nine digits, more than anybody measures.
plain = finite.map(lambda x: float(f"{x:.9g}"))
values = st.one_of(plain, st.integers(-(10**9), 10**9), st.booleans(), words, st.lists(plain, max_size=4))


@many
@given(st.dictionaries(words.filter(bool), values, max_size=4), words.filter(bool), values)
def test_a_key_is_added_and_nothing_else_changes(table, name, value):
    """Whatever the table held, however odd its names."""
    table.pop(name, None)
    text = "before = 1\n[part]\n" + "".join(f"{key_text(k)} = {value_text(v)}\n" for k, v in table.items())
    text += "[after]\nlast = 2\n"
    new = tomllib.loads(add_key(text, "part", f"{key_text(name)} = {value_text(value)}"))
    assert new == {"before": 1, "part": {**table, name: value}, "after": {"last": 2}}


@many
@given(
    arrays(np.float64, st.tuples(st.integers(4, 30), st.just(3)), elements=st.floats(-500, 500)),
    st.sampled_from([",", ";"]),
    st.permutations(["u_mm", "v_mm", "height_um"]),
)
def test_a_height_table_is_read_as_it_was_written(rows, parted, heads):
    rows = rows[np.unique(np.round(rows[:, :2], 3), axis=0, return_index=True)[1]]
    columns = dict(zip(("u_mm", "v_mm", "height_um"), rows.T, strict=True))
    lines = [parted.join(heads)]
    lines += [parted.join(repr(float(columns[head][i])) for head in heads) for i in range(len(rows))]
    if len(rows) < 4:
        return
    try:
        found = parse_height_table("\n".join(lines) + "\n", "t.csv", 0.0)
    except ScenarioError as fault:
        # All on one line, or two heights at one place: refused in words, never misread.
        assert "t.csv" in str(fault)
        return
    for got, head, factor in (
        (found.u, "u_mm", 1e-3),
        (found.v, "v_mm", 1e-3),
        (found.height, "height_um", 1e-6),
    ):
        np.testing.assert_allclose(got, columns[head] * factor, rtol=1e-12, atol=1e-300)


@many
@given(words, words, finite, finite, st.floats(0, 1e9))
def test_checks_come_back(name, source, expected, got, tolerance):
    check = Check(
        name, "wear", "published", source, expected, got, got - expected, tolerance, "µm", "equal", 1, "t"
    )
    checks = Checks((Made("1", "3", "2", "1", "0", "Linux"),), (check,))
    assert from_text(to_text(checks)) == checks


# ---- dye


depths = arrays(np.float64, (5, 12), elements=st.floats(0.0, 20e-6))


draws = st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=3).map(lambda z: dye.dye_at(np.array(z)))


@many
@given(depths, draws, st.floats(0.0, 3e-6), st.floats(0.0, 2.0))
def test_dye_fades_before_it_goes_and_only_goes(off, draw, roughness, more):
    """What is gone has faded; more off, or a finer face: gone wherever it was gone before."""

    def at(removed, ra):
        return dye.beyond(removed, draw.gone_at(ra)), dye.beyond(removed, draw.faded_at(ra))

    gone, faded = at(off, roughness)
    assert np.all(faded >= gone)
    for later in (at(off * (1 + more), roughness), at(off, roughness / (1 + more))):
        assert np.all(later[0] >= gone) and np.all(later[1] >= faded)


@many
@given(depths, draws, st.floats(0.0, 2e-6), st.lists(st.booleans(), min_size=5, max_size=5))
def test_dye_left_falls_from_look_to_look_until_it_is_renewed(blocks, draw, roughness, renews):
    faces = -np.cumsum(blocks, axis=0)
    area = np.linspace(1.0, 2.0, 12)
    found = dye.follow(np.zeros(12), faces, area, draw, roughness, roughness, renews=np.array(renews))
    left = found.left
    assert np.all((left >= 0.0) & (left <= 1.0) & (1.0 - left <= found.faded_share + 1e-12))
    for i in range(1, 5):
        renewed = left[i - 1] < dye.RENEW_BELOW and renews[i - 1]
        if not renewed:
            assert left[i] <= left[i - 1] + 1e-12
            assert np.all(found.gone[i] >= found.gone[i - 1])
            assert np.all(found.faded[i] >= found.faded[i - 1])
        else:
            # Told from the faces, as in the code: a depth of exactly the film may be rounded to either side.
            off = faces[i - 1] - faces[i]
            np.testing.assert_array_equal(found.gone[i], dye.beyond(off, draw.gone_at(roughness)))


# ---- members in pairs


pairs = arrays(np.float64, (2, 20), elements=st.floats(-1e3, 1e3))


@many
@given(pairs)
def test_a_difference_the_other_way_round_is_the_opposite(both):
    there, back = difference(both[0], both[1]), difference(both[1], both[0])
    assert there.size == back.size
    assert there.mean == pytest.approx(-back.mean, abs=1e-9)
    assert (there.band.p05, there.band.p95) == pytest.approx((-back.band.p95, -back.band.p05), abs=1e-9)


@many
@given(arrays(np.float64, 20, elements=st.floats(-1e3, 1e3)), st.floats(1e-3, 1e3))
def test_what_members_differ_in_among_themselves_cancels(spread, shift):
    """A shift that is the same in every member is clear, however far the members lie apart."""
    found = difference(spread, spread + shift)
    assert found.size == "clear"
    assert found.mean == pytest.approx(shift, abs=1e-9)
    assert difference(spread, spread + shift, least=2 * shift).size == "cannot tell"


@many
@given(st.integers(0, 60), st.integers(0, 60))
def test_the_sign_test_is_that_of_the_library(fewer, more):
    """Independent route: scipy's exact binomial test."""
    if fewer + more == 0:
        assert sign_chance(fewer, more) == 1.0
        return
    assert sign_chance(fewer, more) == pytest.approx(binomtest(fewer, fewer + more, 0.5).pvalue, rel=1e-9)
    assert sign_chance(fewer, more) == sign_chance(more, fewer)


@many
@given(arrays(np.bool_, (2, 40)))
def test_a_difference_of_chances_counts_who_changed_sides(both):
    there, back = chance_difference(both[0], both[1]), chance_difference(both[1], both[0])
    assert there.mean == pytest.approx(both[1].mean() - both[0].mean(), abs=1e-12)
    assert there.mean == pytest.approx(-back.mean, abs=1e-12)
    assert there.size == back.size
    assert -1.0 <= there.band.p05 <= there.mean <= there.band.p95 <= 1.0


def test_few_members_leave_a_difference_of_chances_no_more_than_one():
    """Fifteen of sixteen: the normal band about it would end at 1.04."""
    made = np.arange(16) < 15
    assert chance_difference(np.zeros(16, dtype=bool), made).band.p95 == 1.0
    assert chance_difference(made, np.zeros(16, dtype=bool)).band.p05 == -1.0
