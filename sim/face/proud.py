"""What stands proud of the face and has to come out before the face meets the paper."""

from __future__ import annotations

from collections import Counter

from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError
from handlap.sim.common.units import show
from handlap.sim.common.words import listed
from handlap.sim.job.scenario import Part, Proud

_NUMBERS = ("", "", "two ", "three ", "four ", "five ", "six ", "seven ", "eight ", "nine ", "ten ")


def still_proud(part: Part) -> tuple[Proud, ...]:
    """What still stands proud of the face, tallest first; what is out, or level, is left out."""
    return tuple(sorted((p for p in part.proud if not p.out and p.height > 0.0), key=lambda p: -p.height))


def refuse_proud(part: Part) -> None:
    """Refuse to lap a face that something stands proud of.

    The part would ride on it, and the paper would tear.

    Raises
    ------
    InputError : with everything that is to come out first, its height and its place
    """
    left = still_proud(part)
    if not left:
        return
    lines = [
        f"  {p.name}: {show(p.height, 'length', spoken.system())} proud, at "
        f"[{spoken.per_length() * p.at[0]:.4g}, "
        f"{spoken.per_length() * p.at[1]:.4g}] {spoken.length_unit()} "
        "from the middle of the face"
        for p in left
    ]
    raise InputError(
        f"take out the {_counted(left)} first: the part would ride on "
        f"{'it' if len(left) == 1 else 'them'}, not on its face\n"
        + "\n".join(lines)
        + '\nthen set "out = true" beside each in [[part.proud]].  A liner or an insert that stays in is '
        "part of the face: name it in [[part.inserts]]"
    )


def _counted(left: tuple[Proud, ...]) -> str:
    """What is to come out, like things counted: "two dowels and stud"."""
    counts = Counter(p.name for p in left)
    words = []
    for name, n in counts.items():
        plural = name if name.endswith("s") else name + "s"
        number = _NUMBERS[n] if n < len(_NUMBERS) else f"{n} "
        words.append(name if n == 1 else number + plural)
    return listed(words)
