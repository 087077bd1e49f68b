"""Shared by all tests: nobody's own settings or log are ever touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from trainer.folders import HOME


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv(HOME, str(home))
    return home
