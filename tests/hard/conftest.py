"""One nursery of warm processes for all of hard use."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from nursery_client import Nursery
from tried_commands import lay_out


@pytest.fixture(scope="session")
def nursery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    folder = tmp_path_factory.mktemp("nursery")
    found = Nursery(folder, lay_out(folder / "warm") / "job.toml")
    yield found
    found.close()


@pytest.fixture
def sandbox(tmp_path: Path) -> Path:
    """A folder with a small job, its log, and a folder to write to."""
    return lay_out(tmp_path / "bench")
