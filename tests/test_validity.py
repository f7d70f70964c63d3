"""The page of checks: made from a run, shipped with the program, never out of date."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from recorded import Book, Checked, made_now

from handlap.cli.main import main
from handlap.sim.common.errors import HandlapError
from handlap.sim.common.unproven import LEFT_OUT, UNPROVEN
from handlap.sim.common.validity import (
    KIND_WORDS,
    KINDS,
    SHIPPED,
    SUBJECTS,
    Check,
    Checks,
    from_text,
    joined,
    shipped_checks,
    to_text,
)

ROOT = Path(__file__).parents[1]
RENEW = 'pytest -m "slow or not slow" --validity=sim/common/validity.json'


def a_check(name: str = "depth of a flat face", **changes) -> Check:
    row = Check(
        name=name,
        subject="wear",
        kind="closed form",
        source="depth = k·W·s/A",
        expected=20.0,
        got=20.001,
        apart=0.001,
        tolerance=0.01,
        unit="µm",
        sense="equal",
        count=1,
        test="tests/test_a.py::test_a",
    )
    return replace(row, **changes)


HELD = dict(kind="closed form", source="arithmetic", about="wear")


# ---- the fixture


def noted(expected, got, tolerance, **more) -> Check:
    book = Book()
    Checked(book, "t")("a", expected=expected, got=got, tolerance=tolerance, **{**HELD, **more})
    (check,) = book.checks
    return check


def test_a_check_asserts_and_notes():
    check = noted(2.0, 2.05, 0.1, unit="µm")
    assert (check.expected, check.got, check.apart, check.passed) == (2.0, 2.05, 0.05, True)
    assert (check.subject, check.kind, check.unit, check.test) == ("wear", "closed form", "µm", "t")


@pytest.mark.parametrize(
    ("expected", "got", "tolerance", "sense"),
    [
        (2.0, 2.2, 0.1, "equal"),
        (2.0, 1.8, 0.1, "equal"),
        (2.0, np.nan, 0.1, "equal"),
        (2.0, np.inf, 0.1, "at least"),
        (0.85, 0.84, 0.0, "at least"),
        (0.85, 0.86, 0.0, "at most"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.2], 0.1, "equal"),
        ([1.0, 2.0], [np.nan, 2.0], 0.1, "equal"),
    ],
)
def test_a_check_fails(expected, got, tolerance, sense):
    book = Book()
    with pytest.raises(AssertionError, match=r"^a: .*expected"):
        Checked(book, "t")("a", expected=expected, got=got, tolerance=tolerance, sense=sense, **HELD)
    assert not any(check.passed for check in book.checks)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (dict(tolerance=2.0), "lets nothing pass for it"),
        (dict(tolerance=0.0), "a tolerance is needed"),
        (dict(tolerance=np.inf), "nothing is expected"),
        (dict(expected=np.nan), "nothing is expected"),
        (dict(got=[]), "nothing is expected"),
        (dict(kind="hearsay"), "unknown kind"),
        (dict(about="weather"), "unknown kind"),
        (dict(sense="about"), "unknown kind"),
    ],
)
def test_a_check_that_could_not_fail_is_refused(changes, words):
    with pytest.raises(ValueError, match=words):
        noted(**{**dict(expected=2.0, got=2.0, tolerance=0.1), **changes})


def test_names_are_taken_once():
    book = Book()
    note = Checked(book, "t")
    note("a", expected=1.0, got=1.0, tolerance=0.1, **HELD)
    with pytest.raises(ValueError, match="two checks"):
        note("a", expected=1.0, got=1.0, tolerance=0.1, **HELD)


def test_of_many_figures_the_worst_is_noted():
    check = noted([1.0, 2.0, 3.0], [1.01, 2.05, 2.98], 0.1)
    assert (check.expected, check.got, check.count) == (2.0, 2.05, 3)
    bound = noted(0.5, [0.9, 0.6], 0.0, sense="at least")
    assert bound.got == 0.6


def test_tight_figures_survive_the_rounding_of_the_file():
    """Six digits are kept of each figure, and of how far they are apart."""
    check = noted(1.4999995, 1.49999949, 1e-7)
    assert check.passed
    assert not replace(check, apart=2e-7).passed


# ---- the file


def test_the_file_comes_back_as_it_was_written():
    checks = Checks(
        (made_now(),), (a_check(), a_check("bound", sense="at least", kind="known truth", tolerance=0.0))
    )
    assert from_text(to_text(checks)) == checks
    assert to_text(checks).count("\n") == 8


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"schema": "handlap.checks/1"', '"schema": "something"'),
        ('"kind": "closed form"', '"kind": "hearsay"'),
        ('"made": 0', '"made": 3'),
        ('"unit": "µm", ', ""),
        ('"checks"', '"cheques"'),
        ("{", "["),
    ],
)
def test_a_damaged_file_is_named(tmp_path, old, new):
    text = to_text(Checks((made_now(),), (a_check(),)))
    assert old in text
    path = tmp_path / "validity.json"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(HandlapError, match="missing or damaged"):
        shipped_checks(path)
    with pytest.raises(HandlapError, match="missing or damaged"):
        shipped_checks(tmp_path / "not there.json")


def test_tests_that_did_not_run_keep_their_checks():
    earlier = replace(made_now(), program="0.0.1")
    older = Checks(
        (earlier,), (a_check("slow", test="s"), a_check("quick", test="q"), a_check("renamed", test="r"))
    )
    new = [a_check("quick", test="q", got=20.002), a_check("new name", test="r")]
    both = joined(older, new, made_now(), {"q", "r"})
    assert {c.name: both.made[c.made].program for c in both.checks} == {
        "slow": "0.0.1",
        "quick": made_now().program,
        "new name": made_now().program,
    }


# ---- what is left out


def test_readme_leaves_out_what_the_page_leaves_out():
    """One text: the table of the README is the one the program prints."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    section = text.split("## What it leaves out\n")[1].split("\n## ")[0]
    rows = tuple(re.findall(r"^\| (.*?) \| (.*?) \|$", section, flags=re.M))
    assert rows == (("left out", "how much it may matter"), *LEFT_OUT)


# ---- the command


def test_validity_prints_every_check_its_source_and_kind_and_what_is_unproven():
    done = CliRunner().invoke(main, ["validity"], env={"COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    assert max(map(len, done.stdout.splitlines())) <= 80
    flat = " ".join(done.stdout.split())
    checks = shipped_checks()
    for kind in {check.kind for check in checks.checks}:
        assert kind in flat and KIND_WORDS[kind] in flat
    for section in ("Held against nothing measured", "What the model leaves out"):
        assert section in done.stdout
    for source in {check.source for check in checks.checks}:
        assert source in flat, source
    for what, size in LEFT_OUT:
        assert what in flat and size in flat
    for words in UNPROVEN:
        assert words in flat


def test_validity_as_json_and_as_a_page(tmp_path):
    file = tmp_path / "v.json"
    done = CliRunner().invoke(main, ["validity", "--json", "--json-file", str(file), "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    result = json.loads(done.stdout)
    assert json.loads(file.read_text(encoding="utf-8")) == result
    checks = shipped_checks().checks
    assert result["schema"] == "handlap.validity/1"
    assert len(result["checks"]) == len(checks)
    assert {row["name"] for row in result["checks"]} == {check.name for check in checks}
    assert all(row["passed"] for row in result["checks"])
    assert result["left_out"] and result["unproven"]
    page = (tmp_path / "validity.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    shown = html.unescape(page).replace("\N{NO-BREAK SPACE}", " ")
    for check in checks:
        assert f">{check.name}<" in shown, check.name
    assert "src=" not in page and "http" not in page
    assert "closed form" in page


def test_a_failed_check_is_told(monkeypatch):
    from handlap.cli.reports.validity_report import validity_report

    bad = Checks((made_now(),), (a_check(), a_check("worse", got=21.0, apart=1.0)))
    report = validity_report(bad)
    assert report.tone == "bad"
    assert "1 of 2" in report.answer
    good = validity_report(Checks((made_now(),), (a_check(),)))
    assert good.tone != "bad"


# ---- the shipped file


def test_every_part_of_the_program_has_been_held_against_something():
    checks = shipped_checks().checks
    assert {check.subject for check in checks} == set(SUBJECTS)
    assert {check.kind for check in checks} == set(KINDS)


def test_the_shipped_checks_are_those_of_this_run(book):
    """Comes last in a run.  If this fails, renew the file: see ``conftest.py``."""
    hold_to_this_run(book)


@pytest.mark.slow
def test_the_shipped_checks_are_those_of_the_long_run(book):
    """The same at the end of the long calibration."""
    hold_to_this_run(book)


def hold_to_this_run(book: Book) -> None:
    shipped = {check.name: check for check in shipped_checks().checks}
    for check in shipped.values():
        assert check.passed, check.name
        assert book.exists(check.test), f"{check.test} is gone: {RENEW}"
    found = {check.name: check for check in book.checks if check.test in book.passed}
    for name, check in shipped.items():
        assert check.test not in book.passed or name in found, f"{name} is no longer checked: {RENEW}"
    for name, check in found.items():
        assert name in shipped, f"{name} is not in {SHIPPED.name}: {RENEW}"
        old = shipped[name]
        same = ("subject", "kind", "source", "unit", "sense", "count", "test")
        assert [getattr(check, x) for x in same] == [getattr(old, x) for x in same], f"{name}: {RENEW}"
        assert check.tolerance == pytest.approx(old.tolerance, rel=1e-3), f"{name}: {RENEW}"
        # What is expected may come from a solver: its last digits are the machine's.
        assert check.expected == pytest.approx(old.expected, rel=1e-4, abs=0.1 * check.tolerance), (
            f"{name}: {RENEW}"
        )
        if check.sense == "equal":
            assert check.got == pytest.approx(old.got, rel=1e-4, abs=check.tolerance), f"{name}: {RENEW}"
