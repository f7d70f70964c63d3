"""How the fields of a record are said in JSON: name and unit stand on the field, absent is null.

The walk over a record (:func:`said_of`) says every field but those that are :func:`unsaid`, in their order:
records within records as objects, bands as p05, p50 and p95, arrays as nested lists; the names of a mapping
carry its unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, NamedTuple, TypeVar, dataclass_transform

import numpy as np

DIGITS = 7
"""Significant digits written."""
FACTORS = {
    "um": 1e6, "mm": 1e3, "mm2": 1e6, "mm3": 1e9, "g": 1e3, "kg_m3": 1.0, "n": 1.0, "nm": 1.0, "w": 1.0,
    "kj": 1e-3, "kpa": 1e-3,
}  # fmt: skip
"""Unit as names in JSON end with it → what SI is multiplied by."""
SaidRecord = TypeVar("SaidRecord")


class How(NamedTuple):
    """How a field is said, see :func:`said`."""

    unit: str = ""
    name: str = ""
    whole: bool = False
    or_null: bool = False
    certain: bool = False


PLAIN = How()


def said(
    unit: str = "",
    name: str = "",
    *,
    whole: bool = False,
    or_null: bool = False,
    certain: bool = False,
    **default: Any,
) -> Any:
    """A field that is said under a name or in a unit of its own.

    Parameters
    ----------
    unit : of :data:`FACTORS`, with which the name ends; "" for figures that have none
    name : in JSON, whole; "" for that of the field with its unit
    whole : whether floats are counts
    or_null : whether zero and nothing are null
    certain : whether a number with nothing uncertain is said in the shape of a band
    """
    return field(metadata={"said": How(unit, name, whole, or_null, certain)}, **default)


def unsaid(**default: Any) -> Any:
    """A field that is not said."""
    return field(metadata={"said": None}, **default)


@dataclass_transform(frozen_default=True, field_specifiers=(said, unsaid, field))
def record(*, kw_only: bool = False) -> Callable[[type[SaidRecord]], type[SaidRecord]]:
    """A frozen dataclass whose fields tell how they are said."""
    return dataclass(frozen=True, kw_only=kw_only)


def figure(value: float | None, factor: float = 1.0) -> float | None:
    """A number in another unit, to the digits written; null where there is none."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{float(value) * factor:.{DIGITS}g}")


def certain_figure(value: float, factor: float = 1.0) -> dict[str, float | None]:
    """A figure with nothing uncertain, in the shape of a band."""
    return dict.fromkeys(("p05", "p50", "p95"), figure(value, factor))


def said_value(value: Any, factor: float = 1.0) -> Any:
    """A value as JSON has it; numbers other than counts in another unit."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return figure(value, factor)
    if isinstance(value, np.ndarray | np.generic):
        return said_value(value.tolist(), factor)
    if isinstance(value, Mapping):
        return {name: said_value(one, factor) for name, one in value.items()}
    if is_dataclass(value):
        return said_of(value, factor=factor)
    if isinstance(value, Iterable):
        return [said_value(one, factor) for one in value]
    raise TypeError(f"{type(value).__name__} cannot be said")


def said_of(record: Any, names: str = "", factor: float = 1.0) -> dict[str, Any]:
    """A record as a JSON object; ``names``: the only fields and properties to say, in that order."""
    found = {one.name: one.metadata.get("said", PLAIN) for one in fields(record)}
    asked = names.split() or [name for name, how in found.items() if how is not None]
    return dict(_said(name, found.get(name, PLAIN), getattr(record, name), factor) for name in asked)


def _said(own: str, how: How, value: Any, factor: float) -> tuple[str, Any]:
    if how.or_null and not value:
        return how.name or own, None
    if how.unit and isinstance(value, Mapping):
        value = {f"{one}_{how.unit}": figures for one, figures in value.items()}
    elif how.unit:
        own = f"{own}_{how.unit}"
    if how.whole:
        value = np.asarray(value).astype(int)
    factor = FACTORS[how.unit] if how.unit else factor
    return how.name or own, (certain_figure if how.certain else said_value)(value, factor)


def behind(result: dict[str, Any], key: str, **more: Any) -> dict[str, Any]:
    """An object with more keys behind one of its keys.

    >>> behind({"first": 1, "last": 3}, "first", middle=2)
    {'first': 1, 'middle': 2, 'last': 3}
    """
    ahead = list(result).index(key) + 1
    items = list(result.items())
    return {**dict(items[:ahead]), **more, **dict(items[ahead:])}
