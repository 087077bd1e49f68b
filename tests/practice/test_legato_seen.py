"""What a page may show while hands play legato: a tone that lies over is not yet a mistake.

A key held over from the chord before that does not belong to the new one is a finger leaving late
until half of the moment is over (common practice, no source); what is seen says the same as what
is judged in the end.
"""

from __future__ import annotations

import pytest

from tests.judging.lessons import lesson
from tests.practice.playing import Pass, in_order, keys
from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.lens import lens
from trainer.practice.under_the_fingers import under_the_fingers
from trainer.theory.pitch import Pitch

CADENCE = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))
CHORDS = ("c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", "c3 g3 c4 e4")
BEAT = 1.0


def heights(*notes: str) -> set[int]:
    return {Pitch.parse(note).midi for note in notes}


def overlapping(origin: float, overlap: float) -> list[KeyEvent]:
    """Every key is held into the next chord for a part of its beat."""
    return in_order(*(keys(origin + n * BEAT, CHORDS[n], (1 + overlap) * BEAT) for n in range(4)))


def at(made: Pass, origin: float, beats: float, overlap: float) -> None:
    made.until(origin + beats * BEAT, overlapping(origin, overlap))


@pytest.mark.parametrize("overlap", [0.05, 0.15, 0.25, 0.4])
def test_a_tone_that_lies_over_is_neither_shown_nor_called_foreign(overlap: float) -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    at(made, origin, 1 + 0.9 * overlap, overlap)
    assert heights("g3", "e4") <= set(made.session.capture.down)  # still under the fingers
    assert made.session.current == 1
    assert set(made.session.heard.keys) == heights("f3", "a3", "c4", "f4")
    assert {mark.state for mark in lens(made.session).marks} == {"sounding"}
    assert made.session.lens is not None and made.session.lens.outcome == "complete"


def test_a_common_tone_that_lies_over_is_shown_at_once() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    struck = in_order(keys(origin, CHORDS[0], 2.0), keys(origin + 1, "f3 a3 f4"))
    made.until(origin + 1.05, struck)
    assert set(made.session.heard.keys) == heights("f3", "a3", "c4", "f4")


def test_a_foreign_tone_that_stays_beyond_half_of_the_moment_is_shown() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    struck = in_order(keys(origin, "c3 c4 e4", 0.9), keys(origin, "g3", 2.0))
    struck += keys(origin + 1, CHORDS[1])
    made.until(origin + 1.45, in_order(struck))
    g = Pitch.parse("g3").midi
    assert under_the_fingers(made.session)[g] == "leaving"
    made.until(origin + 1.55)
    assert under_the_fingers(made.session)[g] == "foreign"
    assert made.session.heard.overheld == (g,)


def test_a_wrong_key_that_is_struck_is_shown_before_it_is_let_go() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    made.until(origin + 1.02, in_order(keys(origin + 1, "f3 a3 c4 g4")))
    assert Pitch.parse("g4").midi in made.session.heard.keys
    assert "foreign" in {mark.state for mark in lens(made.session).marks}


def test_a_chord_that_comes_early_is_shown_at_its_own_moment() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    struck = in_order(keys(origin, CHORDS[0], 0.85), keys(origin + 0.92, CHORDS[1]))
    made.until(origin + 0.95, struck)
    assert made.session.current == 0
    assert {one.index: set(one.keys) for one in made.session.open}[1] == heights(
        "f3", "a3", "c4", "f4"
    )


def test_untimed_a_finger_that_leaves_late_is_not_called_foreign() -> None:
    made = Pass(CADENCE, Conditions())
    made.begin()
    begun = made.now
    first = in_order(keys(begun + 0.1, "c3 g3 c4", 0.9), keys(begun + 0.1, "e4", 1.3))
    second: list[KeyEvent] = [
        event for event in keys(begun + 1.1, CHORDS[1]) if isinstance(event, KeyDown)
    ]
    made.until(begun + 1.2, in_order(first, second))
    assert made.session.current == 1
    assert set(made.session.heard.keys) == heights("f3", "a3", "c4", "f4")
    made.until(begun + 1.5, [event for event in first if event.time > begun + 1.2])
    assert made.session.current == 2  # let go, and accepted


def test_before_a_pass_what_is_down_is_seen_as_it_is() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    for event in keys(made.now, "c3 d4"):
        if isinstance(event, KeyDown):
            made.feed(event)
    assert set(made.session.heard.keys) == heights("c3", "d4")
    assert "foreign" in {mark.state for mark in lens(made.session).marks}
