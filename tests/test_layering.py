"""Imports go one way: cli to sim, and inside sim down the list of folders in :data:`FOLDERS`.

The modules are parsed, not imported, so that an import inside a function counts as well.
"""

from __future__ import annotations

import ast
import graphlib
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SIM = {p.stem: p for p in sorted((ROOT / "sim").rglob("*.py"))}
CLI = {p.stem: p for p in sorted((ROOT / "cli").rglob("*.py"))}
RUN_TIME = {"numpy", "scipy", "numba", "matplotlib", "PIL", "click"}
FOLDERS = ("common", "materials", "job", "face", "lapping", "planning", "comparing", "bench", "teaching")
"""Folders of sim, each of which may use itself and those before it."""


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def kernels_of(path: Path) -> dict[str, ast.FunctionDef]:
    """The compiled functions of a file."""
    return {
        node.name: node
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.FunctionDef)
        and any(ast.unparse(d).startswith("kernel") for d in node.decorator_list)
    }


def imports(path: Path) -> Iterator[tuple[str, bool]]:
    """Modules a file imports, in full, and whether only for the type checker."""
    tree = tree_of(path)
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for statement in node.body
        for inner in ast.walk(statement)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, id(node) in typing_only
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            module = node.module or ""
            if module == "handlap" or (
                module.startswith("handlap.")
                and (ROOT / module.removeprefix("handlap.").replace(".", "/")).is_dir()
            ):
                for alias in node.names:
                    yield f"{module}.{alias.name}", id(node) in typing_only
            else:
                yield module, id(node) in typing_only


def calls(path: Path) -> Iterator[str]:
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func)


def own(path: Path) -> set[str]:
    """Modules of sim that a module of sim needs when it runs, without their folders."""
    return {
        m.rpartition(".")[2] for m, typing in imports(path) if m.startswith("handlap.sim.") and not typing
    }


def test_there_is_something_to_look_at():
    assert {"march_kernels", "lap", "plan", "scenario"} <= set(SIM)
    assert "main" in CLI
    assert "march_kernels" in own(SIM["lap"])


@pytest.mark.parametrize("name", SIM)
def test_sim_knows_nothing_of_the_screen(name):
    """Neither the command line nor what draws or parses for it; and every import is a known one."""
    for module, _ in imports(SIM[name]):
        top = module.split(".")[0]
        assert not module.startswith("handlap.cli"), f"{name} imports {module}"
        assert top not in ("click", "matplotlib"), f"{name} imports {module}"
        # llvmlite is the compiler that numba brings.
        known = RUN_TIME | {"handlap"} | ({"llvmlite"} if name == "jit" else set())
        assert top in known or top in sys.stdlib_module_names, f"{name} imports {module}"


@pytest.mark.parametrize("name", SIM)
def test_sim_never_prints_and_never_exits(name):
    said = {"print", "input", "exit", "quit", "sys.exit", "os._exit", "sys.stdout.write", "sys.stderr.write"}
    assert not said & set(calls(SIM[name]))


def test_no_cycles_inside_sim():
    order = graphlib.TopologicalSorter({name: own(path) & set(SIM) for name, path in SIM.items()})
    order.prepare()


def test_no_two_modules_share_a_name():
    """So that a name alone says which module is meant, here and in the developers' map."""
    for part, found in (("sim", SIM), ("cli", CLI)):
        assert len(list((ROOT / part).rglob("*.py"))) == len(found)


def test_every_module_of_sim_is_in_a_known_folder():
    assert {path.parent for path in SIM.values()} <= {ROOT / "sim" / name for name in FOLDERS}


@pytest.mark.parametrize("name", SIM)
def test_folders_of_sim_use_only_those_below(name):
    """From the whole job down: what computes is not led by what plans or reports."""
    rank = FOLDERS.index(SIM[name].parent.name)
    for needed in own(SIM[name]):
        assert FOLDERS.index(SIM[needed].parent.name) <= rank, f"{name} uses {needed}"


def test_kernels_are_at_the_bottom():
    assert own(SIM["jit"]) == set()
    found = [name for name in SIM if name.endswith("_kernels")]
    assert {"march_kernels", "survey_kernels", "zone_kernels"} <= set(found)
    for name in found:
        # A number or kernel of any other file could change without the compiler's cache noticing.
        beside = {other for other in found if SIM[other].parent == SIM[name].parent}
        assert own(SIM[name]) <= {"jit", *beside}, name


def test_the_lap_does_not_read_files():
    """The lap is given records; where they came from is no concern of its."""
    loader = {"scenario_file", "scenario_build", "height_table", "toml_edit"}
    for name, path in SIM.items():
        if path.parent.name in ("face", "lapping"):
            assert not own(path) & loader, name


@pytest.mark.parametrize("name", CLI)
def test_cli_takes_only_what_is_allowed(name):
    for module, _ in imports(CLI[name]):
        top = module.split(".")[0]
        # The one optional extra is asked for where a cluster is, and said to be missing if it is.
        # Pillow is a part of every install of matplotlib, which writes its pictures with it.
        optional = {"distributed"} if name == "options" else set()
        assert top in RUN_TIME | {"handlap", "PIL"} | optional or top in sys.stdlib_module_names, (
            f"{name} imports {module}"
        )


@pytest.mark.parametrize("path", [*SIM.values(), *CLI.values()], ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_kernels_that_call_those_of_other_files_stand_in_files_that_say_so(path):
    """What is kept of them holds good as long as the files of kernels beside them do not change (jit.py)."""
    foreign = {
        alias.asname or alias.name
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("handlap.sim.")
        for alias in node.names
    }
    others = {name for p in [*SIM.values(), *CLI.values()] if p != path for name in kernels_of(p)}
    if not path.name.endswith("_kernels.py"):
        for kernel in kernels_of(path).values():
            used = {ast.unparse(c.func) for c in ast.walk(kernel) if isinstance(c, ast.Call)}
            assert not used & foreign & others, f"{path.name}: {used & foreign & others}"
