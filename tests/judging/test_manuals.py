"""Keys on manuals that are told what they play.

That the pedals play the bass, and that two hands on two manuals may cross and share a pitch, is
common practice at the organ, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.listening.manuals import Manual
from trainer.practice.demo import perform, realization
from trainer.practice.slips import SLIPS, Slip, SlipKind
from trainer.score.kern import parse_exercise
from trainer.theory.pitch import Pitch

PEDALS, LEFT, RIGHT, ONE = Manual.BASS, Manual.LEFT_HAND, Manual.RIGHT_HAND, Manual.EVERYTHING
UNTIMED = Conditions()
STARTED = datetime(2026, 11, 27, 19, 30, tzinfo=UTC)
Chord = dict[Manual, str]


def exercise(*basses: str) -> str:
    lines = [
        "!!!OTL: A few basses", "!!!id: a-few-basses", "!!!level: 10", "**kern\t**fb", "*Ibass\t*",
        "*clefF4\t*", "*k[]\t*", "*C:\t*", "*M4/4\t*", "*MM60\t*",
    ]  # fmt: skip
    for number, bass in enumerate(basses, 1):
        lines += [f"={number}\t={number}", f"1{bass}\t."]
    return "\n".join([*lines, "==\t==", "*-\t*-", ""])


def midi(notes: str) -> list[int]:
    return [Pitch.parse(note).midi for note in notes.split()]


def played(*chords: Chord) -> tuple[KeyEvent, ...]:
    """A second each, all keys let go before the next."""
    events: list[KeyEvent] = []
    for at, chord in enumerate(chords):
        keys = [(key, manual) for manual, notes in chord.items() for key in midi(notes)]
        events += [KeyDown(10.0 + at, key, 70, manual) for key, manual in keys]
        events += [KeyUp(10.8 + at, key, manual) for key, manual in keys]
    return tuple(events)


def said(text: str, events: Sequence[KeyEvent], conditions: Conditions = UNTIMED) -> PassVerdict:
    return judge(Take("a-few-basses", text, conditions, tuple(events), 9.0, STARTED))


def first(text: str, chord: Chord, conditions: Conditions = UNTIMED) -> MomentVerdict:
    return said(text, played(chord), conditions).moments[0]


def test_the_pedals_have_the_bass_though_a_hand_lies_below() -> None:
    chord = {PEDALS: "c4", ONE: "g3 e4 c5"}
    told, untold = first(exercise("c"), chord), first(exercise("c"), {ONE: "c4 g3 e4 c5"})
    assert told.outcome == "complete" and str(told.voicing) == "c4 g3 e4 c5"
    assert told.keys == tuple(midi("g3 c4 e4 c5"))
    assert untold.outcome == "wrong-bass"


def test_a_wrong_pedal_is_a_wrong_bass_though_the_hand_has_it_lower() -> None:
    told = first(exercise("C"), {PEDALS: "e3", ONE: "c3 g3 c4"})
    assert told.outcome == "wrong-bass"
    assert first(exercise("C"), {ONE: "e3 c3 g3 c4"}).outcome == "complete"


def test_a_unison_of_pedals_and_hand_is_two_voices() -> None:
    verdict = first(exercise("C"), {PEDALS: "c3", LEFT: "c3", RIGHT: "g3 e4"})
    assert verdict.keys == tuple(midi("c3 c3 g3 e4"))
    assert str(verdict.voicing) == "c3 c3 g3 e4" and verdict.outcome == "complete"


def test_hands_that_cross_on_two_manuals_keep_their_voices() -> None:
    crossed = {PEDALS: "c3", LEFT: "e4", RIGHT: "c4 g4"}
    assert str(first(exercise("C"), crossed).voicing) == "c3 e4 c4 g4"
    assert str(first(exercise("C"), {ONE: "c3 c4 e4 g4"}).voicing) == "c3 c4 e4 g4"


def test_without_pedals_the_lowest_of_the_left_hand_is_the_bass() -> None:
    crossed = {LEFT: "c4 e4", RIGHT: "g3 c5"}
    verdict = first(exercise("c"), crossed)
    assert verdict.outcome == "complete" and str(verdict.voicing) == "c4 e4 g3 c5"


def test_the_left_hand_over_a_bass_the_program_plays_is_no_bass() -> None:
    supplied = Conditions(supply=("bass",))
    for chord in ({LEFT: "g3", RIGHT: "e4 c5"}, {LEFT: "g3 e4", RIGHT: "c5"}):
        verdict = first(exercise("C"), chord, supplied)
        assert verdict.outcome == "complete" and str(verdict.voicing) == "c3 g3 e4 c5"


def test_a_right_hand_below_a_bass_the_program_plays_is_no_bass() -> None:
    supplied = Conditions(supply=("bass",))
    assert first(exercise("c"), {RIGHT: "g3 e4 c5"}, supplied).outcome == "complete"
    assert first(exercise("c"), {ONE: "g3 e4 c5"}, supplied).outcome == "wrong-bass"


def test_a_key_let_go_on_one_manual_is_still_held_on_the_other() -> None:
    events: list[KeyEvent] = [
        *(KeyDown(10.0, key, 70, PEDALS) for key in midi("c3")),
        *(KeyDown(10.0, key, 70, LEFT) for key in midi("g3")),
        *(KeyDown(10.0, key, 70, RIGHT) for key in midi("c4 e4")),
        *(KeyDown(10.0, key, 70, LEFT) for key in midi("c4")),  # both hands have it
        *(KeyUp(11.0, key, RIGHT) for key in midi("c4 e4")),
        *(KeyUp(11.0, key, LEFT) for key in midi("g3")),
        *(KeyUp(11.0, key, PEDALS) for key in midi("c3")),
        *(KeyDown(12.0, key, 70, PEDALS) for key in midi("a2")),
        *(KeyDown(12.0, key, 70, RIGHT) for key in midi("e4 a4")),
        KeyUp(12.8, *midi("c4"), LEFT),
    ]
    verdict = said(exercise("C", "AA"), events)
    assert verdict.moments[1].keys == tuple(midi("a2 c4 e4 a4"))
    assert verdict.moments[1].outcome == "complete"
    on_one = [replace(event, manual=ONE) for event in events]  # type: ignore[call-arg]
    assert said(exercise("C", "AA"), on_one).moments[1].keys == tuple(midi("a2 e4 a4"))


def test_octaves_are_put_on_the_hand_that_a_manual_is_for() -> None:
    up = Conditions(shift_left=1)
    verdict = first(exercise("C"), {LEFT: "c2 g2", RIGHT: "e4 c5"}, up)
    assert str(verdict.voicing) == "c3 g3 e4 c5"
    high = first(exercise("c"), {LEFT: "c4", RIGHT: "c4 e4 g4"}, Conditions(shift_right=1))
    assert str(high.voicing) == "c4 c5 e5 g5"


PLAYED = [(60.0, slip) for slip in (None, *SLIPS)]
PLAYED += [(None, slip) for slip in (None, *SLIPS) if slip != "again"]  # untimed it waits


@pytest.mark.parametrize(("tempo", "slip"), PLAYED)
def test_pedals_that_lie_below_all_else_make_no_difference(
    tempo: float | None, slip: SlipKind | None
) -> None:
    """What is judged is the same, whether it is told or not."""
    conditions = Conditions(tempo=tempo)
    piece = parse_exercise(text := exercise("C", "FF", "GG", "C", "AA", "FF", "GG", "C"))
    slips = () if slip is None else (Slip(slip, 3),)
    voicings = realization(piece, conditions)
    events = perform(piece, conditions, voicings, 10.0, slips=slips)
    highest = midi("c3")[0]
    assert all(p.midi > highest for v in voicings for p in (v.alto, v.tenor) if p)
    on_two = [
        replace(event, manual=PEDALS if event.key <= highest else ONE)
        if isinstance(event, KeyDown | KeyUp)
        else event
        for event in events
    ]
    take = Take("a-few-basses", text, conditions, events, 10.0, STARTED)
    assert judge(replace(take, events=tuple(on_two))) == judge(take)
