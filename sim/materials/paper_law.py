"""How a paper cuts a metal: fresh rate, loading, dulling, brushing, blunt tips, friction, leading edge.

One number each for one grade on one metal (:class:`PaperLaw`), worked out from the grain and from
what is taken to hold for all papers (:class:`PaperTraits`), of which every member of an ensemble has
its own.  Marks as in :mod:`handlap.sim.materials.metals`: S published, M from memory, D derived, C common
practice.  *Fitted* marks numbers that were moved until facts of the trade came out: those facts are no
evidence for them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from handlap.sim.materials.grits import REFERENCE, Grit
from handlap.sim.materials.metals import Family, Metal

CRITICAL_DIAMETER = 100e-6
"""Grain below which a paper cuts much less [m]; 70–150 µm (Avient, Goddard & Wilman 1960; Nathan &
Jones 1966; Sin, Saka & Suh 1979; M)."""
EXPONENT_FINE, EXPONENT_COARSE = 0.7, 0.2
"""Rate against grain below and above it: rising, then level or slowly (the same sources; M)."""
LOADING_DRY, LOADING_WET = 0.005, 0.04
"""Loading scale over grain diameter on aluminium: some tenth of the voids between grains, 0.05·d, for
only the few proud tips cut and their own surroundings fill first (D, fitted)."""
LOADING_FLOORS: Mapping[tuple[bool, bool], float] = {
    (True, False): 0.30,
    (True, True): 0.60,
    (False, False): 0.40,
    (False, True): 0.70,
}
"""Share of its rate that clogged P120 keeps, by (aluminium, wet) (D, fitted)."""
LOADING_FLOOR_EXPONENT = {False: 0.5, True: 0.3}
"""Floor against grain, dry and wet: debris stops fine paper first (De Pellegrin, Torrance & Haran
2009; S, abstract)."""
DULLING_FLOOR, DULLING_FLOOR_EXPONENT = 0.20, 0.3
"""Share of its rate that blunt P120 keeps, and how that goes with the grain (D, fitted)."""
LOWEST_FLOOR, HIGHEST_FLOOR = 0.05, 0.85
"""Bounds of floors and of what brushing takes out, whatever the grain."""
BRUSHED: Mapping[tuple[bool, bool], float] = {
    (True, False): 0.60,
    (True, True): 0.85,
    (False, False): 0.80,
    (False, True): 0.85,
}
"""Share of the loading that brushing or rinsing takes out of P120, by (aluminium, wet): swarf welded dry
to fine paper does not brush out (C)."""
BRUSHED_EXPONENT = 0.3
BLUNT_BEDDING = 0.6
"""Share of its bedding length that blunt paper keeps: its tips are level (D)."""
FRICTION_GAIN: Mapping[tuple[bool, bool], float] = {
    (True, False): 0.4,
    (True, True): 0.1,
    (False, False): 0.15,
    (False, True): 0.05,
}
"""By how much friction grows on clogged paper, over that on fresh, by (aluminium, wet) (M)."""
EDGE_RATE = 1.5
"""How much faster the very leading edge is cut than the middle (D; specimen-length effect, Larsen-Badse,
M; fitted)."""
EDGE_GRAINS = 60.0
"""Length over which that fades, in grains: a grain drags its chip until it comes out (D)."""
EDGE_RISE = {"glued": 6e-6, "loose": 60e-6}
"""How much prouder the paper stands right before the leading edge [m]: the wave that it pushes; glued
down, or held by water, curled, badly glued (C, fitted)."""
EDGE_RISE_SPREAD = {"glued": 3.0, "loose": 2.0}
EDGE_RISE_LENGTH = 12e-3
"""Length over which that fades [m] (C)."""
SCRATCH_STOCK = 2.0
"""Mean depth that clears a paper's scratches, in its Ra when fresh: it was worn when it was left (0.5–0.7
of Ra), its valleys lie 3–3.7 Ra under the mean line, and what stands between is not metal twice (D,
fitted)."""
STOCK_SPREAD = 1.7


@dataclass(frozen=True)
class PaperTraits:
    """What one member of an ensemble takes all papers to be; the defaults are middles.

    Attributes
    ----------
    loading_floor, dulling_floor, brushing : of P120, see :class:`PaperLaw`; None: by metal, wet or dry
    friction_gain : of clogged paper [-]; None: by metal, wet or dry
    blunt_bedding, edge_rate, edge_rise : see :class:`PaperLaw`
    critical, exponent_fine, exponent_coarse : rate against grain
    edge_grains : length over which the leading edge's rate fades, in grains [-]
    stock : mean depth that clears scratches, over Ra of the fresh paper that made them [-]
    own_rate, own_ageing : luck of single grades by name, factors [-]; a grade that is not there: 1
    """

    loading_floor: float | None = None
    dulling_floor: float = DULLING_FLOOR
    brushing: float | None = None
    friction_gain: float | None = None
    blunt_bedding: float = BLUNT_BEDDING
    edge_rate: float = EDGE_RATE
    edge_rise: float = EDGE_RISE["glued"]
    critical: float = CRITICAL_DIAMETER
    exponent_fine: float = EXPONENT_FINE
    exponent_coarse: float = EXPONENT_COARSE
    edge_grains: float = EDGE_GRAINS
    stock: float = SCRATCH_STOCK
    own_rate: Mapping[str, float] = field(default_factory=dict)
    own_ageing: Mapping[str, float] = field(default_factory=dict)


MIDDLE = PaperTraits()


@dataclass(frozen=True)
class PaperLaw:
    """How one grade of paper cuts one metal.

    Attributes
    ----------
    rate_factor : rate of fresh paper over that of fresh P120 [-]
    loading_floor, dulling_floor : share of its rate that clogged, and blunt, paper keeps [-]
    loading_scale, dulling_scale : metal cut per area of paper over which it clogs, and blunts [m]
    brushing : share of the loading that brushing or rinsing takes out [-]
    blunt_bedding : share of its bedding length that blunt paper keeps [-]
    friction_gain : growth of friction on clogged paper, over that on fresh [-]
    edge_rate : how much faster the very leading edge is cut than the middle, over that [-]
    edge_length : over which that fades [m]
    edge_rise : how much prouder the paper stands right before the leading edge [m]
    stock : mean depth of metal that clears the scratches of this paper [m]
    """

    rate_factor: float
    loading_floor: float
    dulling_floor: float
    loading_scale: float
    dulling_scale: float
    brushing: float
    blunt_bedding: float
    friction_gain: float
    edge_rate: float
    edge_length: float
    edge_rise: float
    stock: float

    def power(self, load: float, dull: float) -> float:
        """Cutting power, fresh = 1, with so much metal [m] cut per area since brushing, and since new.

        Each an exponential to a floor (form: Mulhearn & Samuels 1962).
        """
        loaded = self.loading_floor + (1.0 - self.loading_floor) * math.exp(-load / self.loading_scale)
        blunt = self.dulling_floor + (1.0 - self.dulling_floor) * math.exp(-dull / self.dulling_scale)
        return loaded * blunt


def rate_factor(grit: Grit, traits: PaperTraits = MIDDLE) -> float:
    """Rate of fresh paper over that of fresh P120: ∝ d^0.2, below 100 µm falling as d^0.7 (M).

    >>> from handlap.sim.materials.grits import find
    >>> rate_factor(find("P120")), round(rate_factor(find("P240")), 2), round(rate_factor(find("P60")), 2)
    (1.0, 0.66, 1.17)
    """
    d, c = grit.diameter, traits.critical
    coarse = (max(d, c) / max(REFERENCE, c)) ** traits.exponent_coarse
    fine = (min(d, c) / min(REFERENCE, c)) ** traits.exponent_fine
    return float(coarse * fine * traits.own_rate.get(grit.name, 1.0))


def _by_grain(at_reference: float, grit: Grit, exponent: float) -> float:
    """A share that goes with the grain, within bounds; 0 and 1 stay, for they switch an effect off."""
    if at_reference <= 0.0 or at_reference >= 1.0:
        return min(max(at_reference, 0.0), 1.0)
    return float(
        min(max(at_reference * (grit.diameter / REFERENCE) ** exponent, LOWEST_FLOOR), HIGHEST_FLOOR)
    )


def by_kind(table: Mapping[tuple[bool, bool], float], family: Family, wet: bool) -> float:
    """A row of the tables above for a family of metals, dry or wet."""
    return table[family == "aluminium", wet]


def paper_law(
    grit: Grit, metal: Metal, *, wet: bool, ageing: float = 1.0, traits: PaperTraits = MIDDLE
) -> PaperLaw:
    """How a grade cuts a metal, for one member's traits of paper.

    Parameters
    ----------
    ageing : factor on the loading and dulling scales of all papers [-] (×/÷ 2.5, D)

    >>> from handlap.sim.materials import grits, metals
    >>> law = paper_law(grits.find("P120"), metals.find("A356"), wet=False)
    >>> f"{1e6 * law.loading_scale:.3f} µm, {1e6 * law.dulling_scale:.2f} µm"
    '0.625 µm, 1.25 µm'
    """

    def stated(value: float | None, table: Mapping[tuple[bool, bool], float]) -> float:
        return by_kind(table, metal.family, wet) if value is None else value

    scale = ageing * traits.own_ageing.get(grit.name, 1.0) * grit.diameter
    return PaperLaw(
        rate_factor=rate_factor(grit, traits),
        loading_floor=_by_grain(
            stated(traits.loading_floor, LOADING_FLOORS), grit, LOADING_FLOOR_EXPONENT[wet]
        ),
        dulling_floor=_by_grain(traits.dulling_floor, grit, DULLING_FLOOR_EXPONENT),
        loading_scale=(LOADING_WET if wet else LOADING_DRY) * metal.loading_factor * scale,
        dulling_scale=metal.dulling * scale,
        brushing=_by_grain(stated(traits.brushing, BRUSHED), grit, BRUSHED_EXPONENT),
        blunt_bedding=traits.blunt_bedding,
        friction_gain=stated(traits.friction_gain, FRICTION_GAIN),
        edge_rate=traits.edge_rate,
        edge_length=traits.edge_grains * grit.diameter,
        edge_rise=traits.edge_rise,
        stock=traits.stock * grit.roughness_median(metal),
    )
