"""A take heard again: every key when it was struck, and the eye led to it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.journal.samples import STARTED
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.practice.demo import perform, realization
from trainer.review.hear import heard
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library

ORIGIN = 50.0


def played(exercise: Exercise, conditions: Conditions, events: tuple[KeyEvent, ...]) -> Take:
    return Take(
        exercise.id, write_exercise(exercise), conditions, events, ORIGIN, STARTED, player="a" * 32
    )


def begun(take: Take, exercise: Exercise) -> list[float]:
    """When each moment was struck as the keys themselves say, from the first on, in seconds."""
    downs = sorted({e.time for e in take.events if isinstance(e, KeyDown)})
    chords = [t for before, t in zip((-9.0, *downs), downs, strict=False) if t - before > 0.1]
    assert len(chords) == len(exercise.moments)
    return [time - downs[0] for time in chords]


@pytest.mark.parametrize("tempo", [60.0, 92.0, None])
@pytest.mark.parametrize("latency", [0.0, 0.04])
def test_the_eye_is_led_to_each_chord_when_it_sounds(tempo: float | None, latency: float) -> None:
    exercise = Library().find("bellows")
    conditions = Conditions(tempo=tempo, latency=latency)
    voicings = realization(exercise, conditions)
    events = perform(exercise, conditions, voicings, ORIGIN, slips=[], seed=3)
    late = tuple(replace(e, time=e.time + latency) for e in events)
    take = played(exercise, conditions, late)
    notes, times = heard(take, exercise, judge(take))
    assert len(notes) == sum(isinstance(e, KeyDown) for e in events)
    # struck within a few hundredths of a second, of which the middle counts
    assert list(times) == pytest.approx(begun(take, exercise), abs=0.03)


def test_a_break_is_cut_out_and_what_was_played_anew_is_followed() -> None:
    exercise = Library().find("bellows")
    conditions = Conditions(tempo=60.0)
    voicings = realization(exercise, conditions)
    whole = perform(exercise, conditions, voicings, ORIGIN, slips=[], seed=3)
    broken, goes_on = ORIGIN + 2.4, ORIGIN + 20.0
    before = tuple(e for e in whole if e.time < broken)
    held = {e.key for e in before if isinstance(e, KeyDown)}
    gone = tuple(KeyUp(broken, key) for key in sorted(held))
    anew = tuple(replace(e, time=e.time - ORIGIN + goes_on) for e in whole)
    take = replace(
        played(exercise, conditions, (*before, *gone, *anew)), pauses=((broken, goes_on),)
    )
    verdict = judge(take)
    assert {m.outcome for m in verdict.moments} == {"complete"}
    _, times = heard(take, exercise, verdict)
    first = min(e.time for e in whole)
    struck = [e.time - first - (goes_on - broken) for e in anew if isinstance(e, KeyDown)]
    assert not any(map(math.isnan, times))
    assert all(min(abs(shown - at) for at in struck) < 0.03 for shown in times)
