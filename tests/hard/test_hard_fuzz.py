"""Ten thousand mutated files: a message and exit code 2, quickly, on little memory, never a traceback.

One in twelve is tried in every run of the tests, the rest by ``pytest -m slow``.  Each mutant is made from
its kind and number (``mutations.py``, ``other_mutations.py``), read by a command under limits, and held to
the demands of ``fuzzing.complaints``; one that turns out to be sound is worked on by others as well.

To try more numbers, or long commands on every sound file, see the head of ``fuzzing.py``.  When a mutant
fails, mend the program, then keep its file in ``corpus/`` under its kind, so that it is tried for ever: make
it small first if it can be, and put the words of the message into ``SAYS`` below::

    python tests/hard/fuzzing.py --keep tests/hard/corpus/scenario scenario 1234 1235
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fuzzing import KINDS, Tally, try_many
from nursery_client import Nursery
from tried_commands import lay_out

SHARE = 12
"""One mutant in so many is tried in every run."""
ALWAYS = [(kind, number) for kind, count in KINDS.items() for number in range(count // SHARE)]
REST = [(kind, number) for kind, count in KINDS.items() for number in range(count // SHARE, count)]


@pytest.fixture(scope="module")
def two(nursery: Nursery, tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Nursery]]:
    """Two nurseries, one for each of two cores."""
    folder = tmp_path_factory.mktemp("second-nursery")
    second = Nursery(folder, lay_out(folder / "warm") / "job.toml")
    yield [nursery, second]
    second.close()


def hold(tally: Tally, mutants: int) -> None:
    """No mutant failed, and what was tried were mutants, not files that every command refuses alike."""
    print(tally.words(), dict(tally.commands))
    assert not tally.failed, "\n\n".join(tally.failed[:20])
    assert tally.mutants == mutants
    assert 0.5 < tally.refused / tally.mutants < 0.95


def test_there_are_ten_thousand() -> None:
    assert len(set(ALWAYS + REST)) == 10_000


def test_mutants(two: list[Nursery], tmp_path: Path) -> None:
    hold(try_many(two, tmp_path, ALWAYS, quick=True), len(ALWAYS))


@pytest.mark.slow
def test_the_rest_of_ten_thousand(two: list[Nursery], tmp_path: Path) -> None:
    hold(try_many(two, tmp_path, REST), len(REST))
