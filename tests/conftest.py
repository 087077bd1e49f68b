"""Shared by all tests: nobody's own settings or log are ever touched."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

from tests.postgresql import databases, postgresql_server  # noqa: F401  fixtures
from trainer.folders import HOME

# No test fails on time; where the whole is checked every run tries the same examples, and a failing
# one is shown as it was found; elsewhere each run tries others.
_WHOLE = bool(os.environ.get("CI"))
settings.register_profile(
    "steady",
    deadline=None,
    derandomize=_WHOLE,
    phases=[Phase.explicit, Phase.generate] if _WHOLE else list(Phase),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv(HOME, str(home))
    return home


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With MITTELSTIMME_ALL_TESTS set, a skipped test makes the run fail."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter else 0
    if os.environ.get("MITTELSTIMME_ALL_TESTS") and skipped and exitstatus == 0:
        reporter.write_line(f"{skipped} skipped where nothing may be", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
