"""The tool that tries the tests is tried: what it changes, what it calls noticed, what it lists."""

from __future__ import annotations

import ast
import os
from pathlib import Path

import pytest

from tests.mutation.__main__ import equivalent, rooms, sample
from tests.mutation.changes import changes
from tests.mutation.trials import ROOT, Trial, source_of, tried


def words(source: str) -> list[str]:
    return [change.words for change in changes(source)]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("a < b", ["a < b -> nothing", "a < b -> a <= b", "a < b -> a >= b"]),
        ("x = a + 1", ["a + 1 -> a - 1", "1 -> 2", "1 -> 0"]),
        ("x = a and b", ["a and b -> a or b"]),
        ("x = not a", ["not a -> a"]),
        ("x = 0.5", ["0.5 -> 0.55", "0.5 -> 0.45"]),
        ("x = 3.0", ["3.0 -> 4.0", "3.0 -> 2.0"]),
        ("x = True", ["True -> False"]),
        ("x = min(a)", ["min(a) -> max(a)"]),
        ("x = a if b else c", ["a if b else c -> c if b else a"]),
        ("x = [a for a in b if a]", ["[a for a in b if a] -> [a for a in b]"]),
        ("if a:\n    x = b", ["if a: -> if not a:"]),
        ("def f():\n    return a", ["return a -> return None"]),
        ("def f(a):\n    a = b", ["a = b -> nothing"]),
        ("def f():\n    a = b", []),  # the name would have no value
    ],
)
def test_each_kind_of_change_is_made(source: str, expected: list[str]) -> None:
    assert words(source) == expected


@pytest.mark.parametrize(
    "source",
    ['"""A docstring of 1 word."""', "x: int | None", "assert a < 1", "@f(1)\ndef g(): ..."],
)
def test_what_is_for_readers_and_the_type_checker_stays(source: str) -> None:
    assert words(source) == []


def test_each_change_is_made_alone() -> None:
    source = "x = 1\ny = 1\n"
    assert [ast.unparse(change.tree) for change in changes(source)] == [
        "x = 2\ny = 1",
        "x = 0\ny = 1",
        "x = 1\ny = 2",
        "x = 1\ny = 0",
    ]
    assert [change.words for change in changes(source)][2:] == ["1 -> 2 (2)", "1 -> 0 (2)"]


def test_a_change_elsewhere_picks_no_other_sample() -> None:
    few = [("m", one) for one in changes("x = 1\ny = a < b\n")]
    more = [("m", one) for one in changes("z = a - b\nx = 1\ny = a < b\n")]
    kept = {one.words for _, one in sample(more, 4, seed=1)}
    picked = {one.words for _, one in sample(few, 3, seed=1)}
    assert len(picked) == 3
    assert len(kept - picked) <= 2
    assert sample(few, 3, seed=1) == sample(few, 3, seed=1)


# ── trials ───────────────────────────────────────────────────────────────────────────────────

MODULE = "tests.mutation.specimen"
LOOSE = """
from tests.mutation.specimen import wide
def test_two_octaves_are_wide():
    assert wide(48, 72) and not wide(48, 55)
"""
TIGHT = """
from tests.mutation.specimen import wide
def test_an_octave_is_not_wide():
    assert not wide(48, 60)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_a_change_survives_loose_tests_is_killed_by_tight_ones_and_ended_where_it_hangs(
    tmp_path: Path,
) -> None:
    every = {one.words: one for one in changes(source_of(MODULE))}
    change = every["high - low > OCTAVE -> high - low >= OCTAVE"]
    endless = ast.parse("while True: pass")
    for name, text in (("loose", LOOSE), ("tight", TIGHT)):
        (tmp_path / f"test_{name}.py").write_text(text)
    loose, tight = (f"{tmp_path}/test_{name}.py" for name in ("loose", "tight"))
    trials = [
        ("loose", Trial(MODULE, change.tree, (loose,))),
        ("tight", Trial(MODULE, change.tree, (tight,))),
        ("hangs", Trial(MODULE, endless, (loose,))),
        ("as it stands", Trial(MODULE, None, (tight,))),
    ]
    assert dict(tried(trials, seconds=5)) == {
        "loose": "survived",
        "tight": "killed",
        "hangs": "too slow",
        "as it stands": "survived",
    }


# ── the lists ────────────────────────────────────────────────────────────────────────────────


def test_every_room_is_there_with_its_tests() -> None:
    for room in rooms().values():
        assert all(changes(source_of(module)) for module in room.modules)
        assert all((ROOT / file).is_file() for file in room.tests)


def test_what_is_listed_as_equivalent_is_a_change_that_is_made_with_its_reason() -> None:
    made = {
        (module, change.within, change.words)
        for room in rooms().values()
        for module in room.modules
        for change in changes(source_of(module))
    }
    assert equivalent().keys() <= made
    assert all(equivalent().values())
