"""What stands proud of the face is out before the lap begins, or there is no lap."""

from __future__ import annotations

import pytest
from bad_scenarios import SHORT

from handlap.sim.common.errors import InputError
from handlap.sim.face.proud import refuse_proud, still_proud
from handlap.sim.job.scenario import Part
from handlap.sim.job.scenario_file import load_text


def part(*proud: str) -> Part:
    """A part with these things on it."""
    tables = "".join(f"[[part.proud]]\n{p}\n" for p in proud)
    return load_text(SHORT.replace("[[readings", tables + "[[readings"), "x").part


DOWEL = 'name = "dowel"\nat = [{}, 0]\nstands = 6'


def test_two_dowels_are_named_with_height_and_place() -> None:
    with pytest.raises(InputError) as error:
        refuse_proud(part(DOWEL.format(-90), DOWEL.format(90)))
    message = str(error.value)
    assert message.startswith("take out the two dowels first")
    assert "dowel: 6 mm proud, at [-90, 0] mm" in message and "at [90, 0] mm" in message
    assert error.value.exit_code == 2


def test_one_and_several() -> None:
    with pytest.raises(InputError, match="take out the stud first: the part would ride on it,"):
        refuse_proud(part('name = "stud"\nat = [0, 0]\nstands = 40'))
    with pytest.raises(InputError, match="take out the stud, two dowels and pipe first") as error:
        refuse_proud(
            part(
                DOWEL.format(-90),
                'name = "pipe"\nat = [0, 0]\nstands = 3',
                'name = "stud"\nat = [0, 0]\nstands = 40',
                DOWEL.format(90),
            )
        )
    lines = str(error.value).splitlines()
    assert [line.split(":")[0].strip() for line in lines[1:5]] == ["stud", "dowel", "dowel", "pipe"]


def test_what_is_out_or_level_or_below_does_not_refuse() -> None:
    plain = part()
    assert still_proud(plain) == ()
    refuse_proud(plain)
    refuse_proud(part(DOWEL.format(0) + "\nout = true", 'name = "liner"\nat = [0, 0]\nstands = 0'))
    with pytest.raises(InputError, match="take out the dowel first"):
        refuse_proud(part(DOWEL.format(0) + "\nout = true", DOWEL.format(50)))
