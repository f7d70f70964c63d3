"""Checking and converting the numbers of a scenario file: with units, within a range, with a spread."""

from __future__ import annotations

import math
from typing import Any

from handlap.sim.common.measured_number import SENSES, doubtful
from handlap.sim.common.units import (
    PRESS_WORD_FACTOR,
    PRESS_WORDS,
    in_unit,
    parse_quantity,
    show,
    show_leaf,
    to_si,
)
from handlap.sim.job.findings import Findings
from handlap.sim.job.key_row import Key, range_words
from handlap.sim.job.scenario import Law, Uncertain


def number(raw: Any, label: str, found: Findings, quantity: str, allowed: str) -> float | None:
    """A finite number in SI, from a plain number or a text with a unit."""
    if isinstance(raw, str):
        try:
            return _to_last_bit(parse_quantity(raw, quantity))
        except ValueError as error:
            found.fault(label, raw, f"{error}; {allowed}" if allowed else str(error))
            return None
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        found.fault(label, raw, f"a number: {allowed}")
        return None
    try:
        value = _to_last_bit(in_unit(float(raw), found.unit(quantity), quantity))
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        found.fault(label, raw, f"a finite number: {allowed}")
        return None
    return value


def _to_last_bit(value: float) -> float:
    """To fifteen digits, so that 2 thou and 50.8 µm are one number and not neighbours.

    Readings that contradict one another are searched by a chain that the last bit sends another way.
    """
    return float(f"{value:.15g}")


def in_range(value: float, raw: Any, row: Key, label: str, found: Findings) -> float | None:
    """The value [SI] if its row allows it; doubts one outside the usual range."""
    low, high = row.bounds()
    slack = 1e-12 * max(abs(low), abs(high))
    if not low - slack <= value <= high + slack:
        found.fault(label, raw, _allowed(row, found) + _meant(raw, row, found))
        return None
    if row.usual is not None:
        low, high = (to_si(bound, row.quantity) for bound in row.usual)
        if not low - slack <= value <= high + slack:
            low_text, high_text, it = (_shown(b, row, found) for b in (low, high, value))
            found.warn(label, f"{it} is unusual ({low_text} to {high_text} is common): check value and unit")
    return value


def _allowed(row: Key, found: Findings) -> str:
    return range_words(row, found.system, found.unit(row.quantity))


def _shown(value: float, row: Key, found: Findings) -> str:
    if row.quantity == "leaf":
        return show_leaf(value, found.unit("leaf"))
    return show(value, row.quantity, found.system)


def doubt_kind(row: Key) -> str:
    """What :func:`handlap.sim.common.measured_number.doubtful` knows of a key: its kind, or ""."""
    if row.doubt or row.quantity == "leaf":
        return row.doubt or "leaf"
    return "length" if row.quantity == "length" and row.low >= 0.0 else ""


def _meant(raw: Any, row: Key, found: Findings) -> str:
    """What a plain number out of range may have meant in another unit, in words; mostly nothing."""
    kind = doubt_kind(row)
    if not kind or isinstance(raw, bool) or not isinstance(raw, int | float):
        return ""
    doubt = doubtful(float(raw), kind, found.unit(row.quantity), found.system, sense=_sense(kind, row))
    return f" ({doubt.remedy})" if doubt else ""


def _sense(kind: str, row: Key) -> tuple[float, float]:
    """Where values of a key make sense: as its kind, within its range."""
    (low, high), sense = row.bounds(), SENSES[kind]
    return max(low, sense.low), min(high, sense.high)


def read_quantity(raw: Any, row: Key, label: str, found: Findings) -> float | None:
    """One number within the range of its row [SI]."""
    value = number(raw, label, found, row.quantity, _allowed(row, found))
    return None if value is None else in_range(value, raw, row, label, found)


def read_whole(raw: Any, row: Key, label: str, found: Findings) -> int | None:
    """A whole number within the range of its row."""
    if isinstance(raw, bool) or not isinstance(raw, int):
        found.fault(label, raw, f"a whole number from {range_words(row)}")
        return None
    if not row.low <= raw <= row.high:
        found.fault(label, raw, f"a whole number from {row.low:.0f} to {row.high:.0f}")
        return None
    return raw


def read_uncertain(raw: Any, row: Key, label: str, found: Findings) -> Uncertain | None:
    """A number (taken as exact), a table {value, low, high}, or a word for a press."""
    if row.name == "hands.press" and isinstance(raw, str) and raw in PRESS_WORDS:
        value, factor = PRESS_WORDS[raw], PRESS_WORD_FACTOR
        basis = f'common practice: the word "{raw}", ×/÷ {factor:g}'
        return Uncertain(value, value / factor, value * factor, "lognormal", row.name, False, basis)
    if not isinstance(raw, dict):
        if row.name == "hands.press" and isinstance(raw, str) and raw.isalpha():
            found.fault(label, raw, '"light", "firm", "heavy", or a force: ' + range_words(row, found.system))
            return None
        value_or_none = read_quantity(raw, row, label, found)
        return None if value_or_none is None else Uncertain.fixed(value_or_none, row.name)
    unknown = sorted(set(raw) - {"value", "low", "high"})
    if unknown or not {"value", "low", "high"} <= set(raw):
        found.fault(label, raw, "a number, or {value = …, low = …, high = …} with its 5 and 95 % points")
        return None
    parts = [read_quantity(raw[k], row, f"{label}.{k}", found) for k in ("value", "low", "high")]
    if any(p is None for p in parts):
        return None
    value, low, high = (float(p) for p in parts if p is not None)
    if not low <= value <= high:
        found.fault(label, raw, "low ≤ value ≤ high")
        return None
    return spread(value, low, high, row, label, found)


def spread(value: float, low: float, high: float, row: Key, label: str, found: Findings) -> Uncertain:
    """The law that carries a median and its 5 and 95 % points [SI], evened out about the median."""
    if low == high:
        return Uncertain.fixed(value, row.name)
    law: Law = "lognormal" if row.plus_minus == 0.0 and low > 0.0 else "normal"
    if law == "lognormal":
        factor = math.sqrt(high / low)
        evened = (value / factor, value * factor)
    else:
        evened = (value - (high - low) / 2.0, value + (high - low) / 2.0)
    if max(abs(evened[0] - low), abs(evened[1] - high)) > 0.15 * (high - low):
        low_text, high_text = (show(e, row.quantity, found.system, 3) for e in evened)
        found.warn(label, f"lopsided spread, taken as {low_text} to {high_text} about its value")
    return Uncertain(value, *evened, law, row.name, False, "stated")


def numbers(
    raw: Any, label: str, found: Findings, shape: tuple[tuple[str, str], ...], row: Key
) -> list[float] | None:
    """A list of numbers of given names and quantities [SI]; lengths stay in the row's range."""
    names = ", ".join(name for name, _ in shape)
    if not isinstance(raw, list) or len(raw) != len(shape):
        found.fault(label, raw, f"a list of {len(shape)} numbers [{names}]")
        return None
    low, high = row.bounds()
    values = []
    for entry, (name, quantity) in zip(raw, shape, strict=True):
        allowed = range_words(row, found.system) if quantity == row.quantity else ""
        value = number(entry, f"{label} ({name})", found, quantity, allowed)
        if value is not None and quantity == row.quantity and not low <= value <= high:
            found.fault(f"{label} ({name})", entry, allowed)
            value = None
        values.append(value)
    return None if any(v is None for v in values) else [float(v) for v in values if v is not None]
