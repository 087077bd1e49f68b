"""One season in a log, played once for all tests of the review."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.review.browser import browser  # noqa: F401  a fixture
from tests.review.scenario import season
from trainer.folders import HOME
from trainer.journal.store import Journal


@pytest.fixture(scope="session")
def season_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The log of the evening organ class."""
    folder = tmp_path_factory.mktemp("season")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(HOME, str(folder / "home"))
        season(str(folder / "log.sqlite"))
        yield folder / "log.sqlite"


@pytest.fixture
def journal(season_log: Path) -> Iterator[Journal]:
    with Journal.open(season_log, write=False) as opened:
        yield opened
