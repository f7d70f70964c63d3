"""Metals of lapped faces: density, stiffness, how fast fresh paper cuts them, friction.

Marks beside the numbers say where they come from: S a published table seen, M recalled from
the literature (from memory), D derived from those, C common practice.  Every number is only a
start; it carries its spread, and the user's own weighings should replace it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from handlap.sim.common.spelling import nearest

Family = Literal["aluminium", "iron", "steel", "copper"]

RATE_SPREAD = 3.0
"""5 to 95 % of the wear rate, ×/÷ (D)."""
POROSITY = 0.95
"""Castings weigh 95–100 % of their theoretical density (S)."""
ALUMINIUM_FRICTION = (0.4, 0.8)
"""Range of friction of aluminium on paper (M)."""


@dataclass(frozen=True)
class Metal:
    """A metal as the paper meets it.

    Attributes
    ----------
    name : as printed
    family : "aluminium", "iron", "steel" or "copper"
    density : theoretical density [kg/m³]
    youngs_modulus : Young's modulus [Pa]
    poisson : Poisson's ratio [-]
    rate : median specific wear rate k0 on fresh P120 [m²/N]
    rate_spread : 5 to 95 % of the rate, ×/÷ [-]
    friction_dry, friction_wet : coefficient of friction on the paper [-]
    friction_low, friction_high : its range, dry and wet together [-]
    dulling : dulling scale over grain diameter [-]
    loading_factor : loading scale over that of aluminium [-]
    ra_divisor : roughness left by hand is Ra ≈ d/ra_divisor [-]
    cast : whether pores may make it lighter than ``density``
    youngs_range : range of the modulus where it is wide [Pa]
    basis : where rate and friction come from, in words
    """

    name: str
    family: Family
    density: float
    youngs_modulus: float
    poisson: float
    rate: float
    rate_spread: float
    friction_dry: float
    friction_wet: float
    friction_low: float
    friction_high: float
    dulling: float
    loading_factor: float
    ra_divisor: float
    cast: bool = False
    youngs_range: tuple[float, float] | None = None
    basis: str = ""

    @property
    def rate_factor(self) -> float:
        """The spread of the rate, ×/÷ (5 to 95 %)."""
        return self.rate_spread

    @property
    def density_range(self) -> tuple[float, float]:
        """Least and greatest density, pores of castings included [kg/m³]."""
        return (self.density * POROSITY if self.cast else self.density, self.density)

    def friction(self, wet: bool) -> float:
        """Coefficient of friction on wet or dry paper [-]."""
        return self.friction_wet if wet else self.friction_dry


# How a family behaves on fresh paper: dry and wet friction (M); dulling scale over d (D, fitted: Al-Si
# 0.010, iron and steel 0.003; copper alloys as aluminium, D, low confidence); loading scale over that
# of aluminium (D, others 1.5); divisor of Ra (D from charts that disagree by a factor of 2: aluminium
# 70, iron and steel 120; copper alloys between them).
_ON_PAPER: dict[str, tuple[float, float, float, float, float]] = {
    "aluminium": (0.60, 0.50, 0.010, 1.0, 70.0),
    "iron": (0.42, 0.35, 0.003, 1.5, 120.0),
    "steel": (0.50, 0.42, 0.003, 1.5, 120.0),
    "copper": (0.55, 0.42, 0.010, 1.5, 90.0),
}

_RATE_BASIS = {
    "K/H": "derived from published two-body abrasion on fresh paper (from memory), ×/÷ 3",
    "hardness": "derived from the rate of 6061 by Brinell hardness (from memory), ×/÷ 3",
    "as grey iron": "derived: taken as grey iron of the same hardness, ×/÷ 3",
}


def _metal(
    name: str,
    family: Family,
    density: float,
    modulus: float,
    poisson: float,
    rate: float,
    basis: str = "K/H",
    cast: bool = False,
    modulus_range: tuple[float, float] | None = None,
) -> Metal:
    """A row of the table in handbook units: kg/m³, GPa, -, mm³/(N·m)."""
    dry, wet, dulling, loading, divisor = _ON_PAPER[family]
    low, high = ALUMINIUM_FRICTION if family == "aluminium" else (wet / math.sqrt(2.0), dry * math.sqrt(2.0))
    return Metal(
        name=name,
        family=family,
        density=density,
        youngs_modulus=modulus * 1e9,
        poisson=poisson,
        rate=rate / 1e9,
        rate_spread=RATE_SPREAD,
        friction_dry=dry,
        friction_wet=wet,
        friction_low=low,
        friction_high=high,
        dulling=dulling,
        loading_factor=loading,
        ra_divisor=divisor,
        cast=cast,
        youngs_range=None if modulus_range is None else (modulus_range[0] * 1e9, modulus_range[1] * 1e9),
        basis=_RATE_BASIS[basis],
    )


# Densities and moduli: S, handbook tables (A319 density and moduli of iron M; 1100 and 7075
# moduli M).  Rates are those of truly fresh P120: D; cast Al-Si K 0.058 over H 0.85 GPa, the geometric
# mean of published two-body K on fresh paper 0.18, 0.12, 0.08, 0.024, 0.016 (Spurr & Newcomb 1957;
# Avient, Goddard & Wilman 1960; Khrushchov & Babichev 1958; Samuels 1956, as compiled by Rabinowicz,
# Friction and Wear of Materials; M).  Service averages are lower, for paper ages.
METALS: dict[str, Metal] = {
    m.name: m
    for m in (
        _metal("A356", "aluminium", 2680.0, 72.0, 0.33, 0.068, cast=True),
        _metal("356", "aluminium", 2690.0, 72.0, 0.33, 0.068, cast=True),
        _metal("A319", "aluminium", 2790.0, 74.0, 0.33, 0.068, cast=True),
        _metal("A380", "aluminium", 2710.0, 71.0, 0.33, 0.068, cast=True),
        _metal("6061", "aluminium", 2700.0, 69.0, 0.33, 0.057),
        _metal("2024", "aluminium", 2780.0, 73.0, 0.33, 0.045, "hardness"),
        _metal("7075", "aluminium", 2810.0, 72.0, 0.33, 0.036, "hardness"),
        _metal("1100", "aluminium", 2710.0, 69.0, 0.33, 0.066),
        _metal("pure aluminium", "aluminium", 2700.0, 69.0, 0.33, 0.066),
        _metal("grey iron", "iron", 7150.0, 100.0, 0.26, 0.030, cast=True, modulus_range=(90.0, 115.0)),
        _metal("ductile iron", "iron", 7100.0, 172.0, 0.29, 0.030, "as grey iron", cast=True),
        _metal("mild steel", "steel", 7870.0, 203.0, 0.29, 0.028),
        _metal("brass", "copper", 8490.0, 97.0, 0.31, 0.044),
        _metal("bronze", "copper", 8900.0, 105.0, 0.34, 0.050),
    )
}

SYNONYMS: dict[str, str] = {
    "aluminium": "A356",
    "cast aluminium": "A356",
    "aluminium casting": "A356",
    "cast al-si": "A356",
    "al-si": "A356",
    "silumin": "A356",
    "a356-t6": "A356",
    "356-t6": "356",
    "319": "A319",
    "380": "A380",
    "wrought aluminium": "6061",
    "aluminium plate": "6061",
    "6061-t6": "6061",
    "2024-t3": "2024",
    "7075-t6": "7075",
    "iron": "grey iron",
    "cast iron": "grey iron",
    "grey cast iron": "grey iron",
    "lamellar iron": "grey iron",
    "nodular iron": "ductile iron",
    "spheroidal iron": "ductile iron",
    "sg iron": "ductile iron",
    "ductile cast iron": "ductile iron",
    "steel": "mild steel",
    "low carbon steel": "mild steel",
    "cast brass": "brass",
    "gunmetal": "bronze",
}
"""Words of the trade and the metal they stand for here (C); an unnamed aluminium is a casting."""


def _plain(name: str) -> str:
    """Lower case, single spaces, British spelling."""
    text = " ".join(name.lower().replace("_", " ").split())
    return text.replace("aluminum", "aluminium").replace("gray", "grey")


def find(name: str) -> Metal:
    """The metal of this name, or of a word the trade uses for it.

    Raises
    ------
    ValueError : if there is none; says the nearest and all that are known

    >>> find("Gray cast iron").density
    7150.0
    >>> find("aluminum").name
    'A356'
    """
    lookup = {m.lower(): m for m in METALS} | SYNONYMS
    text = _plain(name)
    if text in lookup:
        return METALS[lookup[text]]
    near = nearest(text, lookup, 0.6)
    hint = f'; the nearest is "{near}"' if near else ""
    raise ValueError(f'no metal "{name}"{hint}; known are {", ".join(METALS)}')


def custom(
    name: str,
    *,
    like: str,
    density: float | None = None,
    rate: float | None = None,
    rate_spread: float | None = None,
    youngs_modulus: float | None = None,
    friction: float | None = None,
) -> Metal:
    """A metal of the user's own: one of the table with some of its numbers replaced.

    Parameters
    ----------
    name : as printed
    like : the metal of the table it resembles; whatever is not given is taken from that
    density : [kg/m³]; given, pores count as included
    rate : specific wear rate on fresh P120 [m²/N]
    rate_spread : 5 to 95 %, ×/÷, at least 1 [-]
    youngs_modulus : [Pa]
    friction : coefficient on the paper, dry and wet alike [-]

    Raises
    ------
    ValueError : if a number is not positive and finite, the spread is below 1, or ``like`` is
        unknown

    >>> custom("my casting", like="A356", density=2650.0).density_range
    (2650.0, 2650.0)
    """
    given = {
        "density": density,
        "rate": rate,
        "rate_spread": rate_spread,
        "youngs_modulus": youngs_modulus,
        "friction": friction,
    }
    for key, value in given.items():
        least = 1.0 if key == "rate_spread" else 0.0
        wrong = value is not None and not (math.isfinite(value) and value > 0.0 and value >= least)
        if wrong:
            raise ValueError(f'{key} of "{name}" is {value}: allowed is a finite number above {least:g}')
    changes: dict[str, object] = {k: v for k, v in given.items() if v is not None and k != "friction"}
    if density is not None:
        changes["cast"] = False
    if youngs_modulus is not None:
        changes["youngs_range"] = None
    if friction is not None:
        changes |= dict.fromkeys(("friction_dry", "friction_wet", "friction_low", "friction_high"), friction)
    if rate is not None:
        changes["basis"] = "stated"
    return replace(find(like), name=name, **changes)  # type: ignore[arg-type]


# Kind of gasket → least and greatest Ra [m] by family of the metal (S, trade articles): composite
# on iron 1.5–2.5 µm; on aluminium 1.3–1.5 wished for and at least 0.8; multi-layer steel at most
# 0.76; coated at most 1.3–1.5, of which the stricter is taken here.  Steel is taken as iron,
# copper alloys as aluminium (D).  The gasket maker's own figure comes first.
GASKET_RA: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "composite": ((1.5e-6, 2.5e-6), (0.8e-6, 1.5e-6)),
    "multi-layer steel": ((0.0, 0.76e-6), (0.0, 0.76e-6)),
    "coated multi-layer steel": ((0.0, 1.3e-6), (0.0, 1.3e-6)),
}


def gasket_finish(kind: str, metal: Metal) -> tuple[float, float]:
    """Least and greatest roughness Ra [m] that a kind of gasket asks of a face of this metal.

    Raises
    ------
    ValueError : if the kind is unknown

    >>> gasket_finish("composite", find("grey iron"))
    (1.5e-06, 2.5e-06)
    """
    if kind not in GASKET_RA:
        raise ValueError(f'no gasket "{kind}"; known are {", ".join(GASKET_RA)}')
    ferrous, other = GASKET_RA[kind]
    return ferrous if metal.family in ("iron", "steel") else other
