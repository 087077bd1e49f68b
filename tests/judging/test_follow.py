"""Which moment is this chord?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import inf

from hypothesis import given
from hypothesis import strategies as st

from tests.judging.lessons import lesson
from trainer.judging.follow import _foreignness, _strangeness, align, follow, follower
from trainer.judging.take import Conditions
from trainer.judging.task import Task, foreignness, strangeness, task
from trainer.listening.events import StruckChord
from trainer.theory.moment import Metre
from trainer.theory.voicing import Voicing

PIECE = lesson("C", "c3 a2 f2 g2 c3 d3 e3 f3 g3 c3", ",,,,,6,6,,,")
CHORDS = (
    "c3 g3 c4 e4",
    "a2 a3 c4 e4",
    "f2 a3 c4 f4",
    "g2 g3 b3 d4",
    "c3 g3 c4 e4",
    "d3 f3 b3 d4",
    "e3 g3 c4 c4",
    "f3 f3 c4 a4",
    "g3 g3 b3 d4",
    "c3 g3 c4 e4",
)


def asked(tempo: float = 60.0) -> Task:
    return task(PIECE, Conditions(tempo=tempo))


def struck(text: str, at: float) -> StruckChord:
    keys = sorted({pitch.midi for pitch in Voicing.parse(text) if pitch is not None})
    return StruckChord(tuple(keys), (), (), at, at)


def places(*played: tuple[str, float]) -> tuple[int | None, ...]:
    return align(asked(), [struck(text, at) for text, at in played], 0.0)


def every(without: Sequence[int] = (), late: float = 0.0) -> list[tuple[str, float]]:
    return [(text, i + late) for i, text in enumerate(CHORDS) if i not in without]


def test_chords_in_time_are_their_moments() -> None:
    assert places(*every()) == tuple(range(10))


def test_a_skipped_chord_does_not_spoil_what_follows() -> None:
    assert places(*every(without=[4])) == (0, 1, 2, 3, 5, 6, 7, 8, 9)


def test_an_extra_chord_does_not_spoil_what_follows() -> None:
    played = every()
    played.insert(4, ("c#3 f#3 g#3 d#4", 3.5))
    found = places(*played)
    assert found[:4] == (0, 1, 2, 3) and found[5:] == (4, 5, 6, 7, 8, 9)
    assert found[4] in (None, 3)


def test_a_whole_pass_a_beat_behind_is_still_followed_by_its_content() -> None:
    assert places(*every(late=1.0)) == tuple(range(10))


def test_falling_a_beat_behind_in_the_middle_is_followed() -> None:
    played = [(text, i + (1.0 if i >= 5 else 0.0)) for i, text in enumerate(CHORDS)]
    assert places(*played) == tuple(range(10))


def test_a_wrong_chord_on_time_is_its_moment() -> None:
    played = every()
    played[3] = ("g2 f#3 a#3 c#4", 3.0)
    assert places(*played) == tuple(range(10))


def test_hands_that_come_apart_are_one_moment() -> None:
    left, right = struck("f2 - - -", 2.0), StruckChord((57, 60, 65), (41,), (), 2.2, 2.2)
    chords = [struck(CHORDS[1], 1.0), left, right, struck(CHORDS[3], 3.0)]
    assert align(asked(), chords, 0.0) == (1, 2, 2, 3)


def test_from_a_later_moment_nothing_earlier_is_found() -> None:
    chords = [struck(CHORDS[0], 3.9), struck(CHORDS[5], 5.0)]
    assert all(place is None or place >= 4 for place in align(asked(), chords, 0.0, 4))


@given(
    st.lists(st.floats(-0.2, 0.2), min_size=10, max_size=10),
    st.sets(st.integers(0, 9), max_size=3),
    st.sampled_from([40.0, 72.0, 160.0]),
)
def test_any_pass_within_a_fifth_of_a_beat_is_followed_whatever_is_left_out(
    off: list[float], left_out: set[int], tempo: float
) -> None:
    beat = 60.0 / tempo
    played = [
        (i, struck(text, (i + off[i]) * beat)) for i, text in enumerate(CHORDS) if i not in left_out
    ]
    found = align(asked(tempo), [chord for _, chord in played], 0.0)
    assert found == tuple(i for i, _ in played)


@given(st.lists(st.tuples(st.sets(st.integers(36, 80), min_size=1, max_size=5), st.floats(0, 12))))
def test_whatever_is_played_moments_never_go_backward(
    played: list[tuple[set[int], float]],
) -> None:
    chords = [
        StruckChord(tuple(sorted(keys)), (), (), at, at)
        for keys, at in sorted(played, key=lambda pair: pair[1])
    ]
    found = [place for place in align(asked(), chords, 0.0) if place is not None]
    assert found == sorted(found)


def test_the_live_follower_knows_where_the_latest_chord_belongs() -> None:
    live = follower(asked())
    for place, (text, at) in enumerate(every()):
        live = follow(live, struck(text, at), 0.0)
        assert live.moment(at) == place


@given(
    st.lists(
        st.tuples(st.sampled_from(CHORDS), st.floats(0, 12)), max_size=8, unique_by=lambda p: p[1]
    )
)
def test_when_no_more_can_come_the_live_follower_says_what_is_said_at_the_end(
    played: list[tuple[str, float]],
) -> None:
    chords = [struck(text, at) for text, at in sorted(played, key=lambda pair: pair[1])]
    live = follower(asked())
    for chord in chords:
        live = follow(live, chord, 0.0)
    assert live.places(inf) == align(asked(), chords, 0.0)


def test_a_chord_is_given_up_for_the_moment_before_when_the_next_is_due_and_nothing_comes() -> None:
    """Half a beat late for one moment, in time for the next, and right for both."""
    piece = lesson("C", "c3 g3 g3 c3", ",,,")
    halves = task(replace(piece, metres=((Fraction(0), Metre(2, 2)),)), Conditions(tempo=60.0))
    live = follow(follower(halves), struck("c3 g3 c4 e4", 0.0), 0.0)
    live = follow(live, struck("g3 b3 d4 g4", 1.0), 0.0)
    assert live.moment(1.0) == 1
    assert live.moment(1.25) == 2


@given(st.sets(st.integers(36, 80), min_size=1, max_size=5))
def test_all_moments_at_once_are_weighed_as_each_alone(keys: set[int]) -> None:
    here, chord = asked(), StruckChord(tuple(sorted(keys)), (), (), 0.0, 0.0)
    foreign, strange = _foreignness(here, chord.struck), _strangeness(here, chord.struck)
    for place, awaited in enumerate(here.awaited):
        assert abs(foreign[place] - foreignness(awaited, chord.struck)) < 1e-12
        assert abs(strange[place] - strangeness(awaited, chord.struck)) < 1e-12
