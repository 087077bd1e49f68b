"""What to work on next: only what is surely so, with the cases it rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import Harmony, MomentVerdict, Movement, PassVerdict
from trainer.review.advice import next_work
from trainer.score.exercise import Exercise
from trainer.score.kern import parse_exercise, write_exercise
from trainer.score.transpose import transposed
from trainer.theory.fault import Fault

TEXT = (Path(__file__).parents[1] / "journal" / "data" / "four-three-cadence.krn").read_text()
BEGUN = datetime(2026, 3, 1, 18, tzinfo=UTC)
TODAY = date(2026, 3, 15)


def log_of(path: Path, takes: Iterable[tuple[Exercise, PassVerdict]]) -> Journal:
    with Writer(path) as writer:
        for number, (exercise, verdict) in enumerate(takes):
            started = BEGUN + timedelta(minutes=number)
            text = write_exercise(exercise)
            take = Take(exercise.id, text, Conditions(), (), 0.0, started, player="Ada")
            writer.end(writer.begin(take), take, verdict)
    return Journal.open(path)


def verdict_on(
    exercise: Exercise, wrong: Iterable[int] = (), think: dict[int, float] | None = None
) -> PassVerdict:
    """All chords complete but the ones at `wrong`; think time one second where none is given."""
    missed = set(wrong)
    moments = tuple(
        MomentVerdict(
            m.index,
            "incomplete" if m.index in missed else "complete",
            think_s=(think or {}).get(m.index, 1.0),
        )
        for m in exercise.moments
    )
    harmony = Harmony(len(moments) - len(missed), len(moments))
    return PassVerdict(moments, (), harmony, None, Movement(0, 0, 0, 6, 6))


@pytest.fixture
def cadence() -> Exercise:
    return parse_exercise(TEXT)


def test_a_figuring_that_goes_wrong_is_named_with_its_cases(
    cadence: Exercise, tmp_path: Path
) -> None:
    four = next(m.index for m in cadence.moments if str(m.figuring) == "4")
    log = log_of(tmp_path / "log.sqlite", [(cadence, verdict_on(cadence, [four]))] * 25)
    with log as journal:
        (first, *_) = next_work(journal, None, TODAY)
    assert (first.kind, first.name) == ("figuring", "4")
    assert first.missed is not None and (first.missed.hits, first.missed.cases) == (25, 25)
    assert "25 of 25 went wrong" in first.reason and "elsewhere 0 %" in first.reason


def test_few_cases_are_not_spoken_of(cadence: Exercise, tmp_path: Path) -> None:
    four = next(m.index for m in cadence.moments if str(m.figuring) == "4")
    log = log_of(tmp_path / "log.sqlite", [(cadence, verdict_on(cadence, [four]))] * 19)
    with log as journal:
        assert next_work(journal, None, TODAY) == ()


def test_a_key_that_is_weak_throughout_is_named_once(cadence: Exercise, tmp_path: Path) -> None:
    strange = transposed(cadence, "Eb")
    takes = [(cadence, verdict_on(cadence))] * 20
    takes += [(strange, verdict_on(strange, range(0, 7, 2)))] * 12
    with log_of(tmp_path / "log.sqlite", takes) as journal:
        found = next_work(journal, None, TODAY)
    assert ("key", "Eb major") in {(one.kind, one.name) for one in found}
    assert not any(one.kind == "figuring in key" and one.key == "Eb major" for one in found)


def test_a_rule_is_named_where_it_surely_spoils_a_chord_in_a_hundred(
    cadence: Exercise, tmp_path: Path
) -> None:
    fault = Fault("consecutive-fifths", "gross", (0, 1), ("soprano", "bass"), (), "fifths")
    spoiled = replace(verdict_on(cadence), faults=(fault,))
    takes = [(cadence, spoiled)] * 8 + [(cadence, verdict_on(cadence))] * 8
    with log_of(tmp_path / "log.sqlite", takes) as journal:
        found = next_work(journal, None, TODAY)
    assert [(one.kind, one.name) for one in found] == [("rule", "consecutive-fifths")]
    assert "8 times in 112 chords" in found[0].reason


def test_a_figuring_that_takes_long_to_think_of_comes_after_what_goes_wrong(
    cadence: Exercise, tmp_path: Path
) -> None:
    four = next(m.index for m in cadence.moments if str(m.figuring) == "4")
    takes = [(cadence, verdict_on(cadence, think={four: 2.5 + n / 50})) for n in range(25)]
    with log_of(tmp_path / "log.sqlite", takes) as journal:
        found = next_work(journal, None, TODAY)
    assert [(one.kind, one.name) for one in found] == [("thinking", "4")]
    assert "others 1.0 s" in found[0].reason


def test_what_lies_a_season_back_is_not_held_against_the_player(
    cadence: Exercise, tmp_path: Path
) -> None:
    four = next(m.index for m in cadence.moments if str(m.figuring) == "4")
    log = log_of(tmp_path / "log.sqlite", [(cadence, verdict_on(cadence, [four]))] * 25)
    with log as journal:
        assert next_work(journal, None, TODAY + timedelta(days=200)) == ()
