"""How the paper cuts the metal of a job: the record, and on its fields the keys of ``[wear]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from handlap.sim.job.key_row import Key
from handlap.sim.job.uncertain import Uncertain
from handlap.sim.materials.paper_law import BLUNT_BEDDING, EDGE_RATE


@dataclass(frozen=True)
class Wear:
    """How the paper cuts this metal."""

    rate: Annotated[Uncertain, Key(
        "specific wear rate of this metal on fresh P120; where this and wear.ageing are both stated without "
        "a spread, every grade is as its table says, with no luck of its own",
        "rate", 1e-06, 10.0, usual=(0.002, 0.4), default_words="by metal, ×/÷ 3",
        basis="derived from published two-body abrasion on fresh paper",
    )]  # fmt: skip
    """Specific wear rate k0 of fresh P120 [m²/N]."""
    bedding: Annotated[Uncertain, Key(
        "bedding length of fresh paper over grain diameter",
        low=0.001, high=5.0, usual=(0.04, 0.3), default=0.12, factor=1.83,
        basis="derived from the roughness of paper: 0.06 to 0.2",
    )]  # fmt: skip
    """Bedding length of fresh paper over grain diameter λ/d [-]."""
    friction: Annotated[Uncertain, Key(
        "coefficient of friction on fresh paper",
        low=0.0, high=2.0, usual=(0.0, 1.0), default_words="by metal, dry or wet, ×/÷ 1.42",
        basis="from memory",
    )]  # fmt: skip
    """Coefficient of friction on fresh paper [-]."""
    ageing: Annotated[Uncertain, Key(
        "factor on how much metal a paper cuts before it loads and dulls",
        low=0.001, high=1000.0, usual=(0.1, 10.0), default=1.0, factor=2.5, basis="derived, low confidence",
    )]  # fmt: skip
    """Factor on the loading and dulling scales [-]."""
    loading_floor: Annotated[Uncertain, Key(
        "share of its rate that clogged P120 keeps; coarser papers keep more; 1: clogging costs nothing",
        low=0.0, high=1.0, factor=1.5, default_words="0.3 to 0.7 by metal, dry or wet",
        basis="derived, fitted to how sheets fall off in the trade",
    )]  # fmt: skip
    dulling_floor: Annotated[Uncertain, Key(
        "share of its rate that blunt P120 keeps; coarser papers keep more; 1: paper does not dull",
        low=0.0, high=1.0, default=0.2, factor=1.5,
        basis="derived, fitted to how sheets fall off in the trade",
    )]  # fmt: skip
    """Share of its rate that clogged, and blunt, P120 keeps [-]."""
    brushing: Annotated[Uncertain, Key(
        "share of the clogging that brushing or rinsing takes out of P120; less of finer papers",
        low=0.0, high=1.0, factor=1.4, default_words="0.6 to 0.85 by metal, dry or wet",
        basis="common practice",
    )]  # fmt: skip
    """Share of the loading that brushing or rinsing takes out of P120 [-]."""
    blunt_bedding: Annotated[Uncertain, Key(
        "share of its bedding length that blunt paper keeps; 1: it keeps all",
        low=0.01, high=1.0, default=BLUNT_BEDDING, factor=1.4, basis="derived: blunt tips stand level",
    )]  # fmt: skip
    """Share of its bedding length that blunt paper keeps [-]."""
    friction_gain: Annotated[Uncertain, Key(
        "growth of friction on clogged paper, over that on fresh; 0: none",
        low=0.0, high=5.0, usual=(0.0, 1.0), factor=1.6, default_words="0.05 to 0.4 by metal, dry or wet",
        basis="from memory",
    )]  # fmt: skip
    """Growth of friction on clogged paper, over that on fresh [-]."""
    edge_rate: Annotated[Uncertain, Key(
        "how much faster the very leading edge is cut than the middle, over that; 0: no faster",
        low=0.0, high=50.0, usual=(0.0, 6.0), default=EDGE_RATE, factor=2.0,
        basis="derived, fitted to rolled ends",
    )]  # fmt: skip
    """How much faster the leading edge is cut than the middle, over that [-]."""
    edge_rise: Annotated[Uncertain, Key(
        "how much prouder the paper stands right before the leading edge, the wave it pushes; 0: none",
        "height", 0.0, 1000.0, usual=(0.0, 200.0), default_words="6 µm glued ×/÷ 3, 60 µm loose ×/÷ 2",
        basis="common practice, fitted to rolled ends",
    )]  # fmt: skip
    """How much prouder the paper stands right before the leading edge [m]."""
    ages: Annotated[bool, Key("false: paper stays as fresh as new", default=True, basis="ours")]
    """False: paper stays as fresh as new."""
    bedding_length: Annotated[float | None, Key(
        "bedding length itself, the same for every paper, instead of wear.bedding",
        "height", 0.01, 1000.0, usual=(0.3, 60.0), after="wear.bedding", default_words="from wear.bedding",
    )] = None  # fmt: skip
    """λ itself, for every paper, where the scenario fixes it [m]."""
