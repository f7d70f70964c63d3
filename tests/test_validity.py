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

from handlap.cli.explained import page
from handlap.cli.main import main
from handlap.sim.common.errors import HandlapError
from handlap.sim.common.trade_fact import TradeFact
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


def a_fact(name: str = "metal to the goal", **changes) -> TradeFact:
    row = TradeFact(
        name=name,
        trade="18 to 20 g",
        least=18.0,
        most=20.0,
        within=1.5,
        unit="g",
        low=12.0,
        middle=15.0,
        high=24.0,
        count=16,
        tuned=False,
        test="tests/test_a.py::test_b",
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


# ---- facts of the trade


@pytest.mark.parametrize(
    ("changes", "holds"),
    [
        (dict(), True),
        (dict(middle=12.7), True),
        (dict(middle=12.6), False),
        (dict(middle=19.0, low=18.5, high=19.5), True),
        # The middle is near enough, the band does not reach the trade's figures; or the other way round.
        (dict(high=17.0), False),
        (dict(low=4.0, middle=9.0), False),
        (dict(middle=28.4), True),
        (dict(middle=28.5, high=40.0), False),
        (dict(low=20.1, middle=21.0), False),
        # Some members never get there; most of them; no figure at all.
        (dict(high=None), True),
        (dict(middle=None, high=None), False),
        (dict(low=None, middle=None, high=None), False),
        # Bounds and choices.
        (dict(least=None, most=20.0, within=1.0), True),
        (dict(least=None, most=14.9, within=1.0), False),
        (dict(least=15.1, most=None, within=1.0), False),
        (dict(least=None, most=1.0, within=1.0, low=-3.0, middle=-1.0, high=2.0), True),
        (dict(least=15.0, most=15.0, within=1.0), True),
    ],
)
def test_a_fact_holds_if_bands_meet_and_middles_are_near(changes, holds):
    """18 to 20, middle 18.97 (geometric), ×/÷ 1.5: from 12.65 to 28.46."""
    assert a_fact(**changes).holds == holds


def test_a_fact_is_noted_if_it_is_as_said_of_it_and_shown_if_not():
    book = Book()
    note = Checked(book, "t")
    note.trade_fact(a_fact("holds"), holds=True)
    note.trade_fact(a_fact("fails", high=17.0), holds=False)
    with pytest.raises(AssertionError, match="said to be one that does not hold, but it holds"):
        note.trade_fact(a_fact("got better"), holds=False)
    with pytest.raises(AssertionError, match="said to be one that holds, but it does not hold"):
        note.trade_fact(a_fact("got worse", high=17.0), holds=True)
    assert [(fact.name, fact.holds, fact.test) for fact in book.facts] == [
        ("holds", True, "t"), ("fails", False, "t"), ("got better", True, "t"), ("got worse", False, "t")
    ]  # fmt: skip
    never = a_fact("never", middle=np.inf, high=np.nan)
    note.trade_fact(never, holds=False)
    assert book.facts[-1].high is None and not book.facts[-1].holds


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (dict(least=None, most=None), "says no figure"),
        (dict(least=21.0), "is no range"),
        (dict(least=0.0), "is no range"),
        (dict(within=3.1), "lets nearly anything pass"),
        (dict(within=0.5), "lets nearly anything pass"),
        (dict(name="a"), "two checks"),
    ],
)
def test_a_fact_that_nothing_could_contradict_is_refused(changes, words):
    book = Book()
    note = Checked(book, "t")
    note("a", expected=1.0, got=1.0, tolerance=0.1, **HELD)
    with pytest.raises(ValueError, match=words):
        note.trade_fact(a_fact(**changes), holds=True)


# ---- the file


def test_the_file_comes_back_as_it_was_written():
    checks = Checks(
        (made_now(),),
        (a_check(), a_check("bound", sense="at least", kind="known truth", tolerance=0.0)),
        (a_fact(), a_fact("never", least=None, high=None)),
    )
    assert from_text(to_text(checks)) == checks
    # A line each, so that a change shows as what it is.
    assert to_text(checks).count("\n") == 12


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"schema": "handlap.checks/2"', '"schema": "something"'),
        ('"kind": "closed form"', '"kind": "hearsay"'),
        ('"made": 0', '"made": 3'),
        ('"unit": "µm", ', ""),
        ('"checks"', '"cheques"'),
        ('"facts"', '"rumours"'),
        ('"within": 1.5, ', ""),
        ("metal to the goal", "depth of a flat face"),
        ("{", "["),
    ],
)
def test_a_damaged_file_is_named(tmp_path, old, new):
    text = to_text(Checks((made_now(),), (a_check(),), (a_fact(),)))
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
        (earlier,),
        (a_check("slow", test="s"), a_check("quick", test="q"), a_check("renamed", test="r")),
        (a_fact("slow fact", test="sf"), a_fact("fact", test="qf")),
    )
    new = [a_check("quick", test="q", got=20.002), a_check("new name", test="r")]
    both = joined(older, new, made_now(), {"q", "r", "qf"}, [a_fact("fact", test="qf", middle=14.0)])
    assert {f.name: (f.middle, both.made[f.made].program) for f in both.facts} == {
        "slow fact": (15.0, "0.0.1"),
        "fact": (14.0, made_now().program),
    }
    assert {c.name: both.made[c.made].program for c in both.checks} == {
        "slow": "0.0.1",
        "quick": made_now().program,
        "new name": made_now().program,
    }


# ---- what is left out


def test_the_page_on_the_model_leaves_out_what_validity_leaves_out():
    """One text: the table of the page is the one ``handlap validity`` prints."""
    section = page("model").split("## What it leaves out\n")[1].split("\n## ")[0]
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
    # A cell that gives way where space is short stands among its neighbours' words.
    for fact in checks.facts:
        assert all(word in flat for word in fact.name.split()), fact.name


def test_facts_of_the_trade_have_a_section_and_those_that_fail_come_first():
    from handlap.cli.reports.blocks import Table
    from handlap.cli.reports.validity_report import validity_json, validity_report

    facts = (a_fact("one", tuned=True), a_fact("other", high=17.0), a_fact("third", high=None))
    report = validity_report(Checks((made_now(),), (a_check(),), facts))
    assert report.tone == "doubt"
    assert "Of 3 facts of the trade 1 does not hold; of the 2 that hold, 1 was tuned on." in report.lead
    (section,) = (s for s in report.sections if s.title == "What the trade knows")
    (table,) = (block for block in section.blocks if isinstance(block, Table))
    assert table.rows == (
        ("other", "18 to 20 g", "15 g (12–17)", "× 1.3", "× 1.5", "no", "does not hold"),
        ("one", "18 to 20 g", "15 g (12–24)", "× 1.3", "× 1.5", "tuned on", "holds"),
        ("third", "18 to 20 g", "15 g (12–never)", "× 1.3", "× 1.5", "no", "holds"),
    )
    rows = validity_json(Checks((made_now(),), (), facts))["trade_facts"]
    assert [(row["name"], row["holds"], row["tuned_on"]) for row in rows] == [
        ("one", True, True), ("other", False, False), ("third", True, False)
    ]  # fmt: skip
    assert rows[2]["got"] == {"p05": 12.0, "p50": 15.0, "p95": None}
    without = validity_report(Checks((made_now(),), (a_check(),)))
    assert "What the trade knows" not in [s.title for s in without.sections]


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
    assert [row["name"] for row in result["trade_facts"]] == [fact.name for fact in shipped_checks().facts]
    assert result["left_out"] and result["unproven"]
    page = (tmp_path / "validity.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    shown = re.sub(r'<span class="band">|</span>', "", page)
    shown = html.unescape(shown).replace("\N{NO-BREAK SPACE}", " ")
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
    hold_facts_to_this_run(book)


def hold_facts_to_this_run(book: Book) -> None:
    shipped = {fact.name: fact for fact in shipped_checks().facts}
    found = {fact.name: fact for fact in book.facts if fact.test in book.passed}
    for name, old in shipped.items():
        assert book.exists(old.test), f"{old.test} is gone: {RENEW}"
        assert old.test not in book.passed or name in found, f"{name} is no longer computed: {RENEW}"
    for name, fact in found.items():
        assert name in shipped, f"{name} is not in {SHIPPED.name}: {RENEW}"
        old = shipped[name]
        told = ("trade", "least", "most", "within", "unit", "count", "tuned", "holds", "test")
        assert [getattr(fact, x) for x in told] == [getattr(old, x) for x in told], f"{name}: {RENEW}"
        # The steps of a lap are chosen by its own error: another machine may take others.
        for got, was in ((fact.low, old.low), (fact.middle, old.middle), (fact.high, old.high)):
            assert (got is None) == (was is None), f"{name}: {RENEW}"
            assert got is None or got == pytest.approx(was, rel=0.05, abs=0.1), f"{name}: {RENEW}"
