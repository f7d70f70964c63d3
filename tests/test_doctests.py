"""Every example in a docstring runs.

Modules are imported by their full name: collected by file name instead, kernels would be
cached under a module name that does not exist later.
"""

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted(
    ".".join(("handlap", *p.relative_to(ROOT).with_suffix("").parts))
    for part in ("sim", "cli")
    for p in (ROOT / part).rglob("*.py")
)


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    result = doctest.testmod(
        importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    )
    assert result.failed == 0
