"""The demo player's performances through the whole path: human hands, chosen mistakes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from tests.journal.samples import STARTED
from tests.practice.playing import Pass, play, verdict
from trainer.errors import InputError
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Part, Take
from trainer.judging.task import task
from trainer.listening.events import KeyDown, KeyUp
from trainer.practice.demo import (
    HUMAN,
    PERFECT,
    Manner,
    perform,
    realization,
)
from trainer.practice.effects import MomentJudged
from trainer.practice.mishaps import MISHAPS, MishapKind
from trainer.practice.slips import SLIPS, Slip, SlipKind, slips_spread
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise, write_exercise
from trainer.score.library import Library
from trainer.theory.voicing import Voicing

PATHS = sorted(exercises_folder().glob("*.krn"))[::7]  # enough of them, in little time
AS_FOUND = (Phase.explicit, Phase.generate)  # to shrink a whole pass takes too long
MANNERS = {
    "perfect": PERFECT,
    "human": HUMAN,
    "rolled": replace(HUMAN, rolled=0.06),
    "legato": replace(HUMAN, overlap=0.1),
    "detached": replace(HUMAN, overlap=-0.15),
    "pedalled": replace(HUMAN, overlap=-0.1, pedal=True),
    "hands apart": replace(HUMAN, hands=0.02, fingers=0.008),
}


@cache
def piece(path: Path) -> tuple[Exercise, tuple[Voicing, ...]]:
    exercise = read_exercise(path)
    return exercise, realization(exercise, Conditions())


def supplied(exercise: Exercise, wish: tuple[Part, ...]) -> tuple[Part, ...]:
    return tuple(part for part in wish if part == "bass" or exercise.melody)


def performed(
    path: Path, conditions: Conditions, manner: Manner, slips: tuple[Slip, ...], seed: int
) -> Pass:
    exercise, voicings = piece(path)
    return play(
        exercise,
        conditions,
        lambda origin: perform(
            exercise, conditions, voicings, origin, manner=manner, slips=slips, seed=seed
        ),
    )


wishes = st.sampled_from([(), ("bass",), ("melody",), ("bass", "melody")])


@given(
    path=st.sampled_from(PATHS),
    manner=st.sampled_from(sorted(MANNERS)),
    tempo=st.sampled_from([40.0, 60.0, 80.0]),
    wish=wishes,
    seed=st.integers(0, 10**6),
)
@settings(max_examples=60, deadline=None, derandomize=True, phases=AS_FOUND)
def test_a_right_performance_is_right_however_the_hands_move(
    path: Path, manner: str, tempo: float, wish: tuple[Part, ...], seed: int
) -> None:
    exercise, _ = piece(path)
    conditions = Conditions(tempo=tempo, supply=supplied(exercise, wish))
    made = performed(path, conditions, MANNERS[manner], (), seed)
    said = verdict(made)
    assert {m.outcome for m in said.moments} == {"complete"}
    assert said.extra == () and said.timing is not None
    assert said.timing.in_time >= 0.97 * said.timing.judged
    assert judge(made.session.take) == said
    live = {e.verdict.index: e.verdict for e in made.of(MomentJudged) if type(e) is MomentJudged}
    wanted = [m for m in said.moments if made.session.task.at(m.index).wanted]
    assert {m.index: m.outcome for m in wanted} == {i: m.outcome for i, m in live.items()}


@given(
    path=st.sampled_from(PATHS),
    manner=st.sampled_from(["perfect", "human", "legato", "pedalled"]),
    seed=st.integers(0, 10**6),
)
@settings(max_examples=40, deadline=None, derandomize=True, phases=AS_FOUND)
def test_untimed_a_right_performance_is_right_and_ends_by_itself(
    path: Path, manner: str, seed: int
) -> None:
    made = performed(path, Conditions(), MANNERS[manner], (), seed)
    said = verdict(made)
    assert {m.outcome for m in said.moments if m.keys} == {"complete"}
    assert not [m for m in said.moments if m.outcome != "complete"]
    assert judge(made.session.take) == said


def slipped(path: Path, kind: SlipKind, seed: int) -> tuple[int, Pass] | None:
    """A human pass in tempo with one slip of that kind; None where the piece has no place for
    it."""
    exercise, _ = piece(path)
    conditions = Conditions(tempo=72.0)
    (slip,) = slips_spread(task(exercise, conditions), (kind,), seed)
    try:
        return slip.moment, performed(path, conditions, HUMAN, (slip,), seed)
    except InputError:
        return None


some = given(path=st.sampled_from(PATHS), seed=st.integers(0, 10**6))
few = settings(max_examples=25, deadline=None, derandomize=True, phases=AS_FOUND)


@some
@few
def test_a_wrong_note_is_found_at_its_moment_and_nowhere_else(path: Path, seed: int) -> None:
    if (made := slipped(path, "wrong", seed)) is not None:
        at, done = made
        assert [m.index for m in verdict(done).moments if m.outcome != "complete"] == [at]
        assert "foreign-note" in {f.rule for f in verdict(done).faults if f.moments == (at,)}


@some
@few
def test_a_skipped_chord_is_not_played_and_spoils_nothing(path: Path, seed: int) -> None:
    if (made := slipped(path, "skipped", seed)) is not None:
        at, done = made
        outcomes = {m.index: m.outcome for m in verdict(done).moments}
        held = outcomes.pop(at)
        assert set(outcomes.values()) == {"complete"}
        struck = task(done.session.exercise, Conditions(tempo=72.0)).at(at)
        assert held == "not-played" or (struck.bass is None and struck.melody is None)


@some
@few
def test_a_late_chord_is_late_and_complete(path: Path, seed: int) -> None:
    if (made := slipped(path, "late", seed)) is not None:
        at, done = made
        said = verdict(done)
        assert {m.outcome for m in said.moments} == {"complete"}
        errors = {m.index: m.late_beats for m in said.moments if m.late_beats is not None}
        if at in errors:  # else nothing had to be struck there
            assert errors.pop(at) > 0.08  # 0.4 of a moment that may be a quarter of a beat
        assert max(abs(error) for error in errors.values()) < 0.08


@some
@few
def test_a_stray_key_is_extra_and_harms_nothing(path: Path, seed: int) -> None:
    if (made := slipped(path, "extra", seed)) is not None:
        _, done = made
        assert {m.outcome for m in verdict(done).moments} == {"complete"}
        assert len(verdict(done).extra) <= 1


@some
@few
def test_a_slip_put_right_and_a_doubled_press_are_forgiven(path: Path, seed: int) -> None:
    for kind in ("corrected", "doubled"):
        if (made := slipped(path, kind, seed)) is not None:
            assert {m.outcome for m in verdict(made[1]).moments} == {"complete"}


@some
@few
def test_fifths_that_were_meant_are_found(path: Path, seed: int) -> None:
    if (made := slipped(path, "fifths", seed)) is not None:
        at, done = made
        found = [f for f in verdict(done).faults if f.rule == "consecutive-fifths"]
        assert any(f.moments == (at - 1, at) for f in found)
        assert {m.outcome for m in verdict(done).moments} == {"complete"}


def test_the_same_day_is_played_the_same_way() -> None:
    exercise, voicings = piece(PATHS[0])
    conditions = Conditions(tempo=60.0)
    first, again, other = (
        perform(exercise, conditions, voicings, 0.0, seed=seed) for seed in (1, 1, 2)
    )
    assert first == again != other


@pytest.mark.parametrize("kind", SLIPS)
def test_every_key_pressed_is_let_go(kind: SlipKind) -> None:
    exercise, voicings = piece(PATHS[0])
    conditions = Conditions(tempo=60.0)
    for moment in range(1, 5):
        try:
            events = perform(exercise, conditions, voicings, 0.0, slips=[Slip(kind, moment)])
        except InputError:
            continue
        down: set[int] = set()
        for event in events:
            if isinstance(event, KeyDown):
                assert event.key not in down
                down.add(event.key)
            elif isinstance(event, KeyUp):
                down.remove(event.key)
        assert not down
        assert [e.time for e in events] == sorted(e.time for e in events)


def test_a_slip_where_there_is_no_moment_is_refused() -> None:
    exercise, voicings = piece(PATHS[0])
    with pytest.raises(InputError, match="moment 900"):
        perform(exercise, Conditions(tempo=60.0), voicings, 0.0, slips=[Slip("wrong", 900)])


def test_bass_and_melody_repeated_are_struck_again() -> None:
    exercise, voicings = piece(exercises_folder() / "triads-common-tones.krn")
    conditions = Conditions(tempo=60.0)
    events = perform(exercise, conditions, voicings, 0.0, manner=PERFECT)
    moment = next(
        m.index for m in exercise.moments[1:] if m.bass == exercise.moments[m.index - 1].bass
    )
    line = task(exercise, conditions).line
    assert line is not None
    bass = exercise.moments[moment].bass
    assert bass is not None
    assert any(
        isinstance(e, KeyDown) and e.key == bass.midi and abs(e.time - line.time(moment)) < 0.01
        for e in events
    )


@pytest.mark.parametrize("kind", MISHAPS)
def test_what_happens_to_the_demo_player_is_named(kind: MishapKind) -> None:
    """In some piece, at some moment; where it cannot happen one line says so."""
    named = refused = 0
    for name in ("cold-stove", "candle-ends"):
        exercise = Library().find(name)
        conditions = Conditions(tempo=60.0)
        voicings = realization(exercise, conditions)
        for moment in range(1, len(exercise.moments)):
            if named >= 3:
                return
            try:
                events = perform(
                    exercise, conditions, voicings, 5.0, slips=[Slip(kind, moment)], seed=1
                )
            except InputError as error:
                assert "\n" not in str(error)
                refused += 1
                continue
            text = write_exercise(exercise)
            verdict = judge(Take(exercise.id, text, conditions, events, 5.0, STARTED))
            found = verdict.causes
            named += any(one.moment == moment and one.kind == kind for one in found)
    raise AssertionError(f"named {named} times, refused {refused} times")
