"""Reading a scenario file (TOML) into the records of :mod:`handlap.sim.job.scenario`.

The table in :mod:`handlap.sim.job.scenario_keys` drives the reading: it says which keys there are
and what each may hold.  All faults of a file are collected and raised at once.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from handlap.sim.common.errors import MOST_SHOWN, ScenarioError
from handlap.sim.common.spelling import nearest
from handlap.sim.common.units import LEAF_UNITS, OTHER_SPELLINGS, System
from handlap.sim.job.findings import Findings
from handlap.sim.job.given_file import builtin_paths, located, read_small_text
from handlap.sim.job.key_row import Key
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_build import build
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.scenario_keys import KEYS
from handlap.sim.job.scenario_part import build_outline
from handlap.sim.job.scenario_values import READERS

LARGEST_FILE = 1_000_000
"""[bytes]"""
DEEPEST = 16
"""Parts of a dotted key.  The keys of a job have four; the reader of TOML takes time and memory that
grow with the square of their number."""
_TOO_DEEP = re.compile(
    r"(?:^[ \t]*\[{0,2}|[{,])[ \t]*"
    r"""(?:(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){""" + str(DEEPEST) + "}",
    re.MULTILINE,
)
LONGEST_NAME = 60
"""Letters of an unknown key that are shown and looked up."""
MOST_TABLES = 200
"""Tables in one list, such as lines of a survey."""


@dataclass
class StatedValues:
    """What a file states, checked and in SI.

    ``values`` holds what was read without fault, by dotted key; a list of tables stands under
    its own name as a list of dicts.  ``stated`` holds every key that was there at all.
    """

    values: dict[str, Any] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)


def load(path_or_name: str | Path, *, require_readings: bool = True, require_mass: bool = True) -> Scenario:
    """The scenario of a file, or the built-in one of that name.

    Parameters
    ----------
    path_or_name : path of a TOML file, or a name of :func:`builtin_names`
    require_readings : False where the face may not have been measured yet
    require_mass : False where the weight changes nothing: it is then guessed from the size

    Raises
    ------
    ScenarioError : with all faults of the file; or, if there is no such file, what there is

    >>> load("formula-check").part.outline.length
    0.2
    """
    path = _locate(path_or_name)
    text = read_small_text(path, LARGEST_FILE)
    return load_text(
        text,
        source=str(path_or_name),
        file=path.name,
        folder=path.parent,
        require_readings=require_readings,
        require_mass=require_mass,
    )


def load_text(
    text: str,
    source: str = "scenario",
    *,
    file: str | None = None,
    folder: Path | None = None,
    require_readings: bool = True,
    require_mass: bool = True,
) -> Scenario:
    """The scenario a TOML text describes; see :func:`load`.

    Parameters
    ----------
    text : the text
    source : where it came from, for the report
    file : name of the file in messages; without it ``source``
    folder : where the files it names are; without it none may be named
    require_readings, require_mass : as of :func:`load`
    """
    document = parse_toml(text, Findings(file or source))
    return load_document(
        document,
        source,
        file=file,
        folder=folder,
        require_readings=require_readings,
        require_mass=require_mass,
    )


def load_document(
    document: dict[str, Any],
    source: str = "scenario",
    *,
    file: str | None = None,
    folder: Path | None = None,
    require_readings: bool = True,
    require_mass: bool = True,
) -> Scenario:
    """The scenario of a file's tables as a mapping; see :func:`load_text`.

    >>> load_document(read_document("formula-check")[0], folder=read_document("formula-check")[1]).title
    'Flat plate under a central load, to check against a formula'
    """
    found = Findings(file or source)
    read = _values(document, found)
    required = {"require_readings": require_readings, "require_mass": require_mass}
    scenario = build(read.values, read.stated, found, source, folder, **required)
    if found.faults or scenario is None:
        raise ScenarioError(found.faults)
    return scenario


def read_document(path_or_name: str | Path) -> tuple[dict[str, Any], Path]:
    """The tables of a scenario file or a built-in scenario, unchecked, and the folder it lies in.

    Raises
    ------
    ScenarioError : if there is no such file, or it is no TOML
    """
    path = _locate(path_or_name)
    return parse_toml(read_small_text(path, LARGEST_FILE), Findings(path.name)), path.parent


def file_frame(text: str) -> tuple[System, tuple[float, float]]:
    """The units a valid scenario is written in, and where the middle of the face lies in its frame [m]."""
    found = Findings("")
    read = _read(text, found)
    _, shift = build_outline(Given(read.values, read.stated, found))
    return found.system, (-shift[0], -shift[1])


def leaf_unit(raw: Any) -> str:
    """What a file says leaves are stamped in; "" where it says nothing, or what its key refuses."""
    unit = OTHER_SPELLINGS.get(raw, raw) if isinstance(raw, str) else ""
    return unit if unit in LEAF_UNITS else ""


def _read(text: str, found: Findings) -> StatedValues:
    return _values(parse_toml(text, found), found)


def _values(document: dict[str, Any], found: Findings) -> StatedValues:
    found.system = "inch" if document.get("units") == "inch" else "mm"
    readings = document.get("readings")
    found.leaf_unit = leaf_unit(readings.get("leaves_in") if isinstance(readings, dict) else None)
    read = StatedValues()
    _walk(document, TREE, "", read, found)
    return read


def read_text(path_or_name: str | Path) -> str:
    """The text of a scenario file or of a built-in scenario."""
    return read_small_text(_locate(path_or_name), LARGEST_FILE)


def builtin_names() -> list[tuple[str, str]]:
    """Name and title of every built-in scenario, by name.

    >>> [name for name, _ in builtin_names()][:2]
    ['formula-check', 'glass-over-gap']
    """
    found = []
    for name, path in builtin_paths().items():
        title = tomllib.loads(path.read_text(encoding="utf-8")).get("title", name)
        found.append((name, str(title)))
    return found


def _locate(path_or_name: str | Path) -> Path:
    return located(path_or_name, builtin_paths(), "scenario")


def parse_toml(text: str, found: Findings) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    ScenarioError : if it is no TOML, or none that can be read in reasonable time
    """
    deep = _TOO_DEEP.search(text)
    if deep is not None:
        number = text.count("\n", 0, deep.end()) + 1
        found.fault(f"line {number}", None, f"a key of at most {DEEPEST} parts with dots between")
        raise ScenarioError(found.faults)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found.fault("", None, f"not valid TOML: {error}")
    except RecursionError:
        found.fault("", None, "nested too deeply")
    except ValueError:
        found.fault("", None, "not valid TOML: a whole number of thousands of digits")
    raise ScenarioError(found.faults)


def _tree() -> dict[str, Any]:
    """Keys as nested dicts; a list of tables is a list of one dict."""
    tree: dict[str, Any] = {}
    for row in KEYS:
        *outer, last = row.name.split(".")
        node = tree
        for name in outer:
            if name.endswith("[]"):
                node = node.setdefault(name[:-2], [{}])[0]
            else:
                node = node.setdefault(name, {})
        node[last] = row
    return tree


TREE = _tree()


def _walk(
    document: dict[str, Any], tree: dict[str, Any], prefix: str, read: StatedValues, found: Findings
) -> None:
    for name, raw in document.items():
        label = f"{prefix}{name}"
        node = tree.get(name)
        if node is None:
            _unknown(name, raw, tree, prefix, found)
        elif isinstance(node, Key):
            read.stated.add(node.name)
            value = READERS[node.kind](raw, node, label, found)
            if value is not None:
                read.values[node.name] = value
        elif isinstance(node, dict):
            if isinstance(raw, dict):
                _walk(raw, node, label + ".", read, found)
            else:
                found.fault(label, raw, f"a table [{label}] with {', '.join(node)}")
        else:
            read.stated.add(label)
            read.values[label] = _walk_list(raw, node[0], label, found)


def _walk_list(raw: Any, tree: dict[str, Any], label: str, found: Findings) -> list[dict[str, Any]]:
    """A list of tables; each comes back as a dict of what it holds, by its own key."""
    if not isinstance(raw, list) or not all(isinstance(r, dict) for r in raw) or len(raw) > MOST_TABLES:
        found.fault(label, raw, f"a list of at most {MOST_TABLES} tables with {', '.join(tree)}")
        return []
    tables = []
    for i, table in enumerate(raw, 1):
        inner = StatedValues()
        here = f"{label}[{i}]"
        _walk(table, tree, here + ".", inner, found)
        for name, row in tree.items():
            if row.required and name not in table:
                found.fault(f"{here}.{name}", None, f"missing: {row.help}")
        tables.append({name.rsplit(".", 1)[1]: value for name, value in inner.values.items()})
    return tables


def _unknown(name: str, raw: Any, tree: dict[str, Any], prefix: str, found: Findings) -> None:
    """Refuse an unknown key and name the nearest known one."""
    if len(found.faults) >= MOST_SHOWN:
        # It will only be counted; to look for names near thousands of keys takes minutes.
        found.fault(prefix + name, None, "no such key")
        return
    near = nearest(name[:LONGEST_NAME], tree, 0.55)
    if near is not None:
        near = prefix + near
    else:
        ends = {row.name.rsplit(".", 1)[-1]: row.name for row in KEYS}
        near = ends.get(nearest(name[:LONGEST_NAME], ends, 0.7) or "")
    hint = f'no such key; the nearest is "{near}"' if near else "no such key"
    inside = f"[{prefix.rstrip('.')}]" if prefix else "the file"
    shown = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
    found.fault(prefix + shown, None, f"{hint}; {inside} may hold {', '.join(tree)}")
