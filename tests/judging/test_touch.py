"""Right playing is right with every touch: fingers that leave late, hands that are not together.

How much legato overlaps and hands lie apart is common practice, no source; all pieces and degrees:
`python -m tests.faults.touch`.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from tests.faults.touch import APART, OVERLAPS, wrong
from tests.judging.lessons import lesson
from tests.judging.touches import PIECES as PATHS
from tests.judging.touches import Touch, grid, played, with_best
from tests.practice.playing import Pass, in_order, keys, play, verdict
from trainer.judging.follow import align
from trainer.judging.take import Conditions
from trainer.judging.task import task
from trainer.listening.capture import struck_chords
from trainer.listening.events import KeyEvent
from trainer.practice.effects import MomentJudged
from trainer.theory.fault import Fault
from trainer.theory.hands import HANDS, Hands

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


TWELVE = [path.stem for path in Random(1).sample(PATHS, 12)]
DRILLS = ["chain-9-8-by-step@C", "triads-common-tones@Eb", "cadence-4-3@a", "bellows@A"]


@pytest.mark.parametrize("name", [*TWELVE, *DRILLS])
def test_every_tempo_and_degree_of_legato_is_complete_with_hands_apart(name: str) -> None:
    """Each cell of the table with some way of being apart; the script has all of them."""
    exercise, voicings = with_best(name)
    chance = Random(name)
    hands: Hands = chance.choice(HANDS[:2])
    for touch in grid(OVERLAPS, (0.0,), hands):
        touch = replace(touch, right=chance.choice(APART))
        assert wrong(exercise, voicings, touch, seed=1) == [], touch


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


def held(last: float, then: str = "g2 g3 b3 d4") -> Pass:
    """C, then G, at 60; the c' of the first chord stays down for `last` beats into the second."""
    exercise = lesson("C", "c3 g2 c3", "", "e4 d4 e4")

    def hands(origin: float) -> list[KeyEvent]:
        return in_order(
            keys(origin, "c3 g3 e4", 0.9),
            keys(origin, "c4", 1.0 + last),
            keys(origin + 1.0, then, 0.9),
            keys(origin + 2.0, "c3 g3 e4", 0.9),
            keys(origin + 2.0, "c4", 0.9) if last < 0.9 else [],
        )

    return play(exercise, Conditions(tempo=60.0), hands)


def said(made: Pass, moment: int) -> tuple[str, list[Fault], list[Fault]]:
    """The outcome of a moment, and what of it is a fault of harmony: at the end, and live."""
    names = ("held-too-long", "foreign-note", "missing-figure", "missing-third", "wrong-bass")
    last = verdict(made)
    live = [fault for one in made.of(MomentJudged) for fault in one.faults]  # type: ignore[attr-defined]
    at_end, before = (
        [f for f in faults if f.moments == (moment,) and f.rule in names]
        for faults in (last.faults, live)
    )
    return last.moments[moment].outcome, at_end, before


@pytest.mark.parametrize("last", [0.05, 0.25, 0.45])
def test_a_finger_that_leaves_a_little_late_is_no_fault(last: float) -> None:
    assert said(held(last), 1) == ("complete", [], [])


@pytest.mark.parametrize("last", [0.6, 0.9, 1.6])
def test_a_key_held_into_the_next_chord_is_one_fault_of_its_own(last: float) -> None:
    outcome, at_end, live = said(held(last), 1)
    assert outcome == "complete" and [fault.rule for fault in at_end] == ["held-too-long"]
    assert at_end == live
    assert at_end[0].text == (
        "Bar 1, beat 2: c is held too long, into a chord it does not belong to."
    )


def test_a_key_that_stands_for_a_voice_is_foreign() -> None:
    """Three keys and the c that did not move: the c is meant."""
    outcome, at_end, _ = said(held(0.9, "g2 b3 d4"), 1)
    assert outcome == "foreign" and [fault.rule for fault in at_end] == ["foreign-note"]


def test_a_tone_that_lies_over_into_a_short_chord_is_part_of_it() -> None:
    """The g is held from the chord before; the last chord is let go before half of its time."""
    exercise = lesson("C", "g2 c3", "", "d4 e4")

    def hands(origin: float) -> list[KeyEvent]:
        chords = (keys(origin, "g2 b3 d4", 0.98), keys(origin + 1.0, "c3 c4 e4", 0.3))
        return in_order(keys(origin, "g3", 1.29), *chords)

    last = verdict(play(exercise, Conditions(tempo=60.0), hands)).moments[1]
    assert last.outcome == "complete" and len(last.keys) == 4
