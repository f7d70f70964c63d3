"""Numbers as people write them, and bare ones that are to be asked back."""

from __future__ import annotations

import pytest

from handlap.sim.common.measured_number import doubtful, read_measured, split_numbers


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "value", "bare"),
    [
        ("50", "leaf", "µm", 50e-6, True),
        ("0.05", "leaf", "mm", 50e-6, True),
        ("0,05", "leaf", "mm", 50e-6, True),
        (".002", "leaf", "in", 50.8e-6, True),
        ("2", "leaf", "thou", 50.8e-6, True),
        ("0.05mm", "leaf", "µm", 50e-6, False),
        ('.004"', "leaf", "µm", 101.6e-6, False),
        ("8", "length", "in", 0.2032, True),
        ("1 1/2", "length", "in", 0.0381, True),
        ("15 lb", "mass", "kg", 6.80388555, False),
    ],
)
def test_a_number_with_or_without_its_unit(
    text: str, quantity: str, unit: str, value: float, bare: bool
) -> None:
    found = read_measured(text, quantity, unit)
    assert found.value == pytest.approx(value, rel=1e-14)
    assert found.bare is bare


def test_what_is_refused_says_what_is_allowed() -> None:
    for text, says in (
        ("5 kg", "number in µm, or with one of"),
        ("1,500", "1500, or 1.500"),
        ("ten", "1 1/2"),
    ):
        with pytest.raises(ValueError, match=says):
            read_measured(text, "leaf", "µm")


@pytest.mark.parametrize(
    ("number", "kind", "unit", "system", "meant"),
    [
        (0.05, "leaf", "µm", "mm", ("0.05 mm",)),
        (0.229, "leaf", "µm", "mm", ("0.229 mm",)),
        (50, "leaf", "mm", "mm", ("50 µm",)),
        (50, "leaf", "µm", "mm", None),
        (0.05, "leaf", "mm", "mm", None),
        (0.002, "leaf", "thou", "inch", ("0.002 in",)),
        (2, "leaf", "in", "inch", ("2 thou",)),
        (100, "leaf", "thou", "inch", ("100 µm",)),
        (0.05, "limit", "µm", "mm", ("0.05 mm",)),
        (0.0015, "limit", "thou", "inch", ("0.0015 in",)),
        (0.24, "length", "mm", "mm", ("0.24 m", "0.24 cm")),
        (330, "length", "in", "inch", ("330 mm",)),
        (8200, "mass", "kg", "mm", ("8200 g",)),
        (1500, "force", "N", "mm", None),
    ],
)
def test_a_bare_number_is_asked_back_only_where_another_unit_makes_sense(
    number: float, kind: str, unit: str, system: str, meant: tuple[str, ...] | None
) -> None:
    doubt = doubtful(number, kind, unit, system)  # type: ignore[arg-type]
    assert (doubt.meant if doubt else None) == meant


def test_the_leaves_at_hand_tell_more_than_the_kind() -> None:
    """50 thou is a leaf that is to be had, but not of this set; 50 µm is its 2 thou."""
    inch = [25.4e-6 * n for n in (1.5, 2, 3, 4)]
    doubt = doubtful(50, "leaf", "thou", "inch", among=inch)
    assert doubt is not None
    assert doubt.question == "50 thou is not in your set: 50 µm?"
    assert doubtful(2, "leaf", "thou", "inch", among=inch) is None
    assert doubtful(7, "leaf", "thou", "inch", among=inch) is None, "simply not in the set: no other unit"


def test_what_is_known_of_the_part_narrows_it() -> None:
    doubt = doubtful(2500, "mass", "lb", "inch", sense=(0.1, 50.0))
    assert doubt is not None
    assert "2500 g" in doubt.meant


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("30 40 50", ["30", "40", "50"]),
        ("30,40,50", ["30", "40", "50"]),
        ("30, 40, 50", ["30", "40", "50"]),
        ("0,05 0,1 0,15", ["0,05", "0,1", "0,15"]),
        ("0,05", ["0,05"]),
        ("0,05, 0,1", ["0,05", "0,1"]),
        ("0,05; 0,1", ["0,05", "0,1"]),
        ("0.03 0.04 0.05 mm", ["0.03 mm", "0.04 mm", "0.05 mm"]),
        ("40 50um", ["40 um", "50um"]),
        (".002 in, .003 in", [".002 in", ".003 in"]),
        ('.002" .003"', ['.002"', '.003"']),
        ("none 50 µm", ["none", "50 µm"]),
        ("50 none", ["50", "none"]),
        ("300 µm open", ["300 µm", "open"]),
        ("1 1/2 in 2 in", ["1 1/2 in", "2 in"]),
        ("", []),
    ],
)
def test_lists_as_they_are_typed(text: str, parts: list[str]) -> None:
    assert split_numbers(text) == parts


@pytest.mark.parametrize("text", ["0,05,0,1", "30,40, 50"])
def test_lists_that_can_be_read_in_two_ways(text: str) -> None:
    with pytest.raises(ValueError, match="semicolons"):
        split_numbers(text)
