"""Shared by all tests: nobody's own settings or log are ever touched."""

from __future__ import annotations

import os
from collections.abc import Generator
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


# What measures time, or plays in real time: first, and nothing may run beside it.
_QUIET = tuple(
    str(Path(__file__).parent / place)
    for place in (
        "apart",
        "bench",
        "commands/test_keyboard.py",
        "commands/test_practice.py",
        "conducting",
        "end_to_end",
        "listening",
        "screen/test_real_window.py",
        "sound",
    )
)


def _needs_quiet(item: pytest.Item | None) -> bool:
    return item is not None and any(item.path.is_relative_to(place) for place in _QUIET)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: not _needs_quiet(item))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(
    item: pytest.Item, nextitem: pytest.Item | None
) -> Generator[None, object, object]:
    """With MITTELSTIMME_QUIET_OVER set, that file is made when others may use the machine too."""
    done = yield
    over = os.environ.get("MITTELSTIMME_QUIET_OVER")
    if over and not _needs_quiet(nextitem):
        Path(over).touch()
    return done


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With MITTELSTIMME_ALL_TESTS set, a skipped test makes the run fail."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter else 0
    if os.environ.get("MITTELSTIMME_ALL_TESTS") and skipped and exitstatus == 0:
        reporter.write_line(f"{skipped} skipped where nothing may be", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
