"""What is said live stands at the end; `python -m tests.faults.live_and_final` at full length."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tests.faults.live_and_final import compare
from tests.judging.lessons import lesson
from tests.practice.playing import in_order, keys, play, verdict
from trainer.judging.take import Conditions
from trainer.listening.events import KeyEvent
from trainer.practice.effects import MomentJudged
from trainer.theory.moment import Metre


def test_what_was_said_live_stands_at_the_end() -> None:
    found = compare(12)
    assert found.faults > 100
    assert dict(found.went) == {}
    assert dict(found.came) == {}
    assert found.heard == 0
    assert found.divided > 0
    assert found.unnamed == 0
    assert found.resolutions > 5
    assert found.unforeseen == 0
    assert found.gathered > 0 and found.causeless == 0


def test_contrary_consecutives_are_said_when_they_are_played() -> None:
    """Octaves by contrary motion are free into the final chord only, and no chord is the final one
    because it is the latest."""

    def performed(origin: float) -> list[KeyEvent]:
        # bass and alto go from a fifteenth to an octave by opposite motion
        struck = ("c3 g4 c5 e5", "g3 b3 g4 d5", "c3 c4 g4 e5")
        lesson_keys = [keys(origin + n, chord, 0.9) for n, chord in enumerate(struck)]
        return [event for chord in lesson_keys for event in sorted(chord, key=lambda e: e.time)]

    exercise = lesson("C", "c3 g3 c3", "", "e5 d5 e5", fermatas=(2,))
    made = play(exercise, Conditions(tempo=60.0), performed)
    name = "consecutives-by-contrary-motion"
    live = {
        fault.rule
        for effect in made.effects
        if isinstance(effect, MomentJudged)
        for fault in effect.faults
    }
    end = {fault.rule for fault in verdict(made).faults}
    assert name in live
    assert name in end


def test_a_chord_in_time_is_not_kept_for_the_one_left_out_before_it() -> None:
    """The second chord is left out and comes half a beat later, where the third is asked for: it
    is the third, and is said to be so when the second is over, not at the end."""
    halves = replace(lesson("C", "c3 g3 g3 c3", ",,,"), metres=((Fraction(0), Metre(2, 2)),))

    def performed(origin: float) -> list[KeyEvent]:
        struck = ((0, "c3 g3 c4 e4"), (2, "g3 b3 d4 g4"), (3, "c3 c4 e4 g4"))
        return in_order(*(keys(origin + n / 2, chord, 0.45) for n, chord in struck))

    made = play(halves, Conditions(tempo=60.0), performed)
    live = {one.verdict.index: one.verdict.keys for one in made.of(MomentJudged)}
    assert live == {moment.index: moment.keys for moment in verdict(made).moments}
    assert live[1] == ()
    assert made.session.anew == ()
