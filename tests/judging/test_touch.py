"""Right playing is right with every touch: fingers that leave late, hands that are not together.

How much legato overlaps and hands lie apart is common practice, no source; all pieces and degrees:
`python -m tests.faults.touch`.
"""

from __future__ import annotations

import pytest

from tests.faults.touch import wrong
from tests.judging.touches import Touch, grid, played, with_best
from tests.practice.playing import play
from trainer.judging.follow import align
from trainer.judging.take import Conditions
from trainer.judging.task import task
from trainer.listening.capture import struck_chords
from trainer.practice.effects import MomentJudged

# a melody that moves while the bass is late; moments of half a beat after long ones
PIECES = ("das-walt-gott", "wie-schoen-leuchtet", "ferry-bell", "ach-wie-fluechtig")
OFTEN_WRONG = [
    Touch(40.0, 0.1, -0.15),
    Touch(40.0, 0.25),
    Touch(80.0, 0.25, 0.15),
    Touch(120.0, 0.15, -0.15),
    Touch(160.0, 0.0, 0.15),
]


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("touch", OFTEN_WRONG, ids=str)
def test_a_right_pass_is_complete_with_any_touch(piece: str, touch: Touch) -> None:
    exercise, voicings = with_best(piece)
    assert wrong(exercise, voicings, touch, seed=1) == []


@pytest.mark.parametrize("touch", [Touch(40.0, 0.25, -0.15), Touch(120.0, 0.15, 0.15)], ids=str)
def test_it_is_complete_while_it_goes_on(touch: Touch) -> None:
    exercise, voicings = with_best("das-walt-gott")
    made = play(
        exercise,
        Conditions(tempo=touch.tempo),
        lambda origin: played(exercise, voicings, touch, origin),
    )
    live = [one.verdict for one in made.of(MomentJudged)]  # type: ignore[attr-defined]
    assert {moment.outcome for moment in live} == {"complete"}
    assert len(live) == sum(moment.chord for moment in exercise.moments)


@pytest.mark.parametrize("right", [-0.15, -0.07, 0.0, 0.07, 0.15])
def test_hands_apart_are_one_attack_whichever_is_first(right: float) -> None:
    exercise, voicings = with_best("das-walt-gott")
    for touch in (Touch(40.0, right=right), Touch(80.0, right=right)):
        chords = struck_chords(played(exercise, voicings, touch, 0.0))
        asked = task(exercise, Conditions(tempo=touch.tempo))
        found = align(asked, chords, 0.0)
        tactus = asked.line
        assert tactus is not None
        for chord, place in zip(chords, found, strict=True):
            nearest = min(
                range(len(tactus.times)), key=lambda i: abs(tactus.times[i] - chord.first)
            )
            assert place == nearest


def test_the_table_has_every_tempo_and_degree() -> None:
    touches = grid((0.0, 0.15, 0.25), (-0.15, 0.0, 0.15))
    assert len(touches) == 3 * 9 + 2 * 6
