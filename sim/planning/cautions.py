"""The usual cautions; they come before any number printed."""

from __future__ import annotations

from handlap.sim.common import spoken
from handlap.sim.common.units import GRAVITY, POUND
from handlap.sim.materials.metals import Metal

HEAVY = 100.0
"""Weight [N] from which a part wants two people."""


IN_SHORT = (
    "The cautions of plan and job sheet hold here too: dust that burns, solvents, old gaskets, all grit out. "
    "The maker's limits and a machinist's judgement come before any number printed here."
)
"""Where they have stood in full before."""


def cautions(metal: Metal, *, weight: float, wet: bool) -> tuple[str, ...]:
    """Cautions for a job (common practice), the ones that matter for it first.

    Parameters
    ----------
    weight : of the part [N]
    wet : whether the paper is worked wet
    """
    found = []
    if metal.family == "aluminium":
        wet_words = "keep it wet" if wet else "work wet, or brush and gather it often"
        found.append(
            f"Aluminium dust burns and can explode: {wet_words}, no sparks or flames, never mix it with "
            "iron dust. Magnesium is for specialists."
        )
    else:
        found.append("Wear a dust mask and eye protection; keep metal dust off sparks and flames.")
    if weight >= HEAVY:
        mass = weight / GRAVITY
        heavy = spoken.by_system(f"{mass:.0f} kg", f"{mass / POUND:.0f} lb")
        found.append(f"The part weighs {heavy}: two people, feet clear.")
    found += [
        "Old gaskets may hold asbestos: never sand or scrape them dry.",
        "Solvents, spray adhesive and dye: ventilate, gloves, no flames. Burrs and edges cut.",
        "All grit out before assembly: grit left in an engine or pump ruins it. Some makers forbid "
        "abrasive paper near an open engine.",
        "The maker's limits, local codes and a qualified machinist's judgement come before any "
        "number printed here.",
    ]
    return tuple(found)
