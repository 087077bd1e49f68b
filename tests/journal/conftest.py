"""Every test that asks for `location` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(params=["sqlite", "postgresql"])
def location(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a log may be made: a path, or the URL of an empty database."""
    if request.param == "sqlite":
        return str(tmp_path / "log.sqlite")
    url: str = request.getfixturevalue("databases").new()
    return url
