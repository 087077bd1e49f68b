"""What needs the machine to itself is tested first, and it is told when that is over."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests import conftest

HERE = Path(__file__).parent


def item(place: str) -> Any:
    return SimpleNamespace(path=HERE / place)


def test_every_place_that_needs_quiet_is_there() -> None:
    assert all(Path(place).exists() for place in conftest._QUIET)


def test_what_needs_quiet_comes_first_and_the_rest_stays_in_its_order() -> None:
    places = ["apart/test_a.py", "review/test_b.py", "sound/test_c.py", "theory/realize/test_d.py"]
    items = [item(place) for place in places]
    conftest.pytest_collection_modifyitems(items)
    assert [one.path.name for one in items] == ["test_a.py", "test_c.py", "test_b.py", "test_d.py"]


@pytest.mark.parametrize(
    ("following", "over"),
    [("sound/test_c.py", False), ("review/test_b.py", True), (None, True)],
)
def test_after_the_last_of_them_others_may_use_the_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, following: str | None, over: bool
) -> None:
    told = tmp_path / "quiet-over"
    monkeypatch.setenv("MITTELSTIMME_QUIET_OVER", str(told))
    run = conftest.pytest_runtest_protocol(
        item("apart/test_a.py"), None if following is None else item(following)
    )
    next(run)
    assert not told.exists()  # not while it is tested
    with pytest.raises(StopIteration):
        next(run)
    assert told.exists() is over
