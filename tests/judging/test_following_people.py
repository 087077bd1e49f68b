"""Right notes at the wrong time: who is late throughout, who stops and goes on, who drags. Every
chord is right, and the figures say how late."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest

from tests.journal.samples import STARTED
from tests.judging.touches import PIECES, Touch, conditions, played, with_best
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown
from trainer.score.kern import write_exercise

ORIGIN = 5.0
Bent = Callable[[float], float]  # seconds since the first moment, as they should be and as they are


def bent(name: str, tempo: float, time: Bent) -> PassVerdict:
    """A right pass, each key as late as `time` says, in beats since the first moment."""
    exercise, voicings = with_best(name)
    touch = Touch(tempo)
    events = tuple(
        replace(e, time=ORIGIN + touch.beat * time((e.time - ORIGIN) / touch.beat))
        for e in played(exercise, voicings, touch, ORIGIN)
    )
    text = write_exercise(exercise)
    return judge(Take(exercise.id, text, conditions(touch), events, ORIGIN, STARTED))


SOME = [path.stem for path in Random(5).sample(PIECES, 6)]


@pytest.mark.parametrize("name", SOME)
@pytest.mark.parametrize("beats", [0.5, 1.0, 2.0, 3.0, 4.0])
def test_late_throughout_is_late_and_nothing_else(name: str, beats: float) -> None:
    said = bent(name, 60.0, lambda time: time + beats)
    assert said.harmony.complete == said.harmony.judged and said.extra == ()
    assert said.timing is not None and said.timing.in_time == 0
    assert said.timing.bias_ms == pytest.approx(1000 * beats, abs=5)


@pytest.mark.parametrize("name", SOME)
@pytest.mark.parametrize("beats", [0.5, 1.5, 3.0])
def test_who_stops_and_goes_on_is_right_before_and_after(name: str, beats: float) -> None:
    said = bent(name, 80.0, lambda time: time if time < 9.9 else time + beats)
    assert said.harmony.complete == said.harmony.judged and said.extra == ()
    late = [m.late_beats for m in said.moments if m.late_beats is not None]
    assert {round(beat, 1) for beat in late} <= {0.0, beats}
    assert late == sorted(late, key=lambda beat: beat > beats / 2)


@pytest.mark.parametrize("name", SOME)
def test_who_drags_is_followed_however_far_behind(name: str) -> None:
    said = bent(name, 70.0, lambda time: 1.05 * time)
    assert said.harmony.complete == said.harmony.judged and said.extra == ()


@pytest.mark.parametrize("name", ["das-walt-gott", "ferry-bell", "bellows", "wie-schoen-leuchtet"])
def test_who_is_late_and_leaves_one_out_has_left_one_out(name: str) -> None:
    """The chord left out is missing, the rest is as it was."""
    exercise, voicings = with_best(name)
    touch = Touch(60.0, left=1.0)
    classes = [{p.midi % 12 for p in voicing if p is not None} for voicing in voicings]
    inner = [
        m
        for m in exercise.moments[4:-4]
        if m.chord and m.bass_struck and m.melody_struck
        # a chord that sounds like its neighbour may be either of them
        if not (classes[m.index] & classes[m.index - 1] or classes[m.index] & classes[m.index + 1])
    ]
    gone = inner[len(inner) // 2]
    quarter = touch.beat / float(exercise.metre.beat_length)
    begins = ORIGIN + touch.beat + float(gone.onset) * quarter
    ends = begins + float(gone.duration) * quarter
    events = played(exercise, voicings, touch, ORIGIN)
    kept = tuple(
        event
        for event in events
        if not (isinstance(event, KeyDown) and begins - 0.02 <= event.time < ends - 0.02)
    )
    text = write_exercise(exercise)
    said = judge(Take(exercise.id, text, conditions(touch), kept, ORIGIN, STARTED))
    wrong = {m.index for m in said.moments if m.outcome != "complete"}
    assert wrong <= {gone.index, gone.index + 1}
