"""Fixtures of all tests, and helpers' place: tests in the folders below find them beside this file.

``checked`` asserts a figure and notes it down.  At the end of a run ``--validity=FILE`` writes what was
noted, which is how the file comes about that ``handlap validity`` shows::

    pytest -m "slow or not slow" --validity=sim/common/validity.json

Tests that did not run leave what they had noted in the file before, so the default suite alone may
renew it too.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser import Browser
from drawn_once import remembering
from hypothesis import settings
from page_measures import unrendered as not_rendering
from recorded import LAST, Book, Checked, made_now

from handlap.sim.common.validity import Checks, from_text, joined, to_text

settings.register_profile("repeatable", derandomize=True, deadline=None, database=None)
settings.register_profile("seeking", deadline=None)
# The same examples on every run; HANDLAP_SEEK=1 looks for new ones.
settings.load_profile("seeking" if os.environ.get("HANDLAP_SEEK", "") not in ("", "0") else "repeatable")

# No test reads what the person who runs it has kept of jobs of their own, nor adds to it.
os.environ["HANDLAP_PAST_JOBS"] = "none"

BOOK = pytest.StashKey[Book]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--validity", metavar="FILE", type=Path, help="write the checks of this run to FILE, as JSON"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.stash[BOOK] = Book()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The test of the whole book comes last; all that is there is known before any is left out."""
    items.sort(key=lambda item: item.name in LAST)
    config.stash[BOOK].there.update(item.nodeid for item in items)


def pytest_collection_finish() -> None:
    """What is loaded by now stays: to look through all of it for litter again and again takes a tenth of the
    time of a run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(700, 10, 100)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    report = yield
    if report.when == "call" and not report.skipped:
        book = item.config.stash[BOOK]
        (book.passed if report.passed else book.failed).add(item.nodeid)
    return report


def pytest_sessionfinish(session: pytest.Session) -> None:
    path: Path | None = session.config.getoption("--validity")
    if path is None or session.config.getoption("collectonly"):
        return
    book = session.config.stash[BOOK]
    older = from_text(path.read_text(encoding="utf-8")) if path.is_file() else Checks((), ())
    # Tests that are no longer there cannot have run, and what they checked goes too.
    noted = {c.test for c in older.checks} | {fact.test for fact in older.facts}
    ran = book.passed | book.failed | {test for test in noted if not book.exists(test)}
    path.write_text(to_text(joined(older, book.checks, made_now(), ran, book.facts)), encoding="utf-8")


@pytest.fixture
def book(request: pytest.FixtureRequest) -> Book:
    """All that was noted so far in this run."""
    return request.config.stash[BOOK]


@pytest.fixture
def checked(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Assert that a figure is what it has to be, and note both down; see :class:`recorded.Checked`."""
    return Checked(request.config.stash[BOOK], request.node.nodeid)


@pytest.fixture(scope="session", autouse=True)
def faces_drawn_once() -> Iterator[None]:
    """What readings allow is drawn once for all tests that ask the same; see :mod:`drawn_once`."""
    with remembering(True):
        yield


@pytest.fixture
def drawn_anew() -> Iterator[None]:
    """For who looks at the drawing itself."""
    with remembering(False):
        yield


@pytest.fixture
def unrendered() -> Iterator[None]:
    """Pictures of which no pixel is looked at are laid out, not rendered."""
    with not_rendering():
        yield


@pytest.fixture(scope="module")
def one_browser() -> Iterator[Browser]:
    browser = Browser()
    yield browser
    browser.close()


@pytest.fixture
def browser(one_browser: Browser, file: Path) -> Iterator[Browser]:
    """The page of a module's ``file``, just opened; at the end it must not have complained of anything."""
    one_browser.size(1280, 860)
    one_browser.log()
    one_browser.open(file)
    yield one_browser
    assert one_browser.log() == []
