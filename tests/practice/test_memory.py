"""Memory: rated from playing, scheduled as the fsrs package alone would schedule it.

Outside source: the `fsrs` package (open-spaced-repetition), driven directly beside ours.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import fsrs
import pytest
from fsrs import Rating
from hypothesis import given
from hypothesis import strategies as st

from trainer.practice.item import Item, figuring_item
from trainer.practice.memory import (
    Memory,
    Whole,
    end_of_day,
    first_seen,
    rated,
    rated_pass,
    remembered,
    reviewed,
)
from trainer.practice.result import Answer, PassResult, believable, met_item
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre, Moment
from trainer.theory.pitch import Pitch

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SIX = Item("figuring", "6", "G major", "3", 8)
WHOLES = {"old-tune": Whole("piece", 72.0), "cadence-simple": Whole("cadence", 58.0)}


def a_pass(exercise_id: str, at: datetime, *answers: Answer, tempo: float | None = None, **but):
    result = PassResult(
        exercise_id=exercise_id,
        key="G major",
        hands="1+3",
        tempo=tempo,
        at=at,
        seconds=10.0,
        finished=True,
        whole=True,
        harmony=1.0,
        time=None if tempo is None else 1.0,
        movement=1.0,
        judged=4,
        wrong=0,
        gross=0,
        answers=answers,
    )
    return replace(result, **but)


def moment(bass: str, figuring: str, key: str, melody: str | None = None) -> Moment:
    return Moment(
        index=0,
        onset=Fraction(0),
        duration=Fraction(4),
        bar=1,
        beat=Fraction(1),
        bass=Pitch.parse(bass),
        bass_struck=True,
        melody=None if melody is None else Pitch.parse(melody),
        melody_struck=melody is not None,
        figuring=Figuring.parse(figuring),
        figured=bool(figuring),
        fermata=False,
        key=Key.parse(key),
        metre=Metre(4, 4),
    )


# ── scheduling, against fsrs itself ──────────────────────────────────────────────────────────


@given(
    st.lists(
        st.tuples(st.sampled_from(list(Rating)), st.floats(0, 40).map(lambda d: timedelta(days=d))),
        min_size=1,
        max_size=30,
    )
)
def test_every_review_is_the_one_fsrs_makes(history: list[tuple[Rating, timedelta]]) -> None:
    scheduler = fsrs.Scheduler(enable_fuzzing=False, maximum_interval=180)
    card, known, at = fsrs.Card(card_id=7, due=START), first_seen(SIX, START), START
    for rating, later in history:
        at += later
        card, _ = scheduler.review_card(card, rating, at)
        known = reviewed(known, rating, at)
        ours, theirs = known.card.to_dict(), card.to_dict()
        assert {**ours, "card_id": 0} == {**theirs, "card_id": 0}
        probe = at + timedelta(days=9)
        assert known.recall(probe) == scheduler.get_card_retrievability(card, probe)
    assert known.asked == len(history)


def test_a_review_never_changes_the_card_it_was_made_from() -> None:
    before = first_seen(SIX, START)
    frozen = before.card.to_dict()
    reviewed(before, Rating.Good, START)
    assert before.card.to_dict() == frozen


def test_a_clock_that_goes_back_counts_as_no_time_passed() -> None:
    known = reviewed(first_seen(SIX, START), Rating.Good, START)
    back = reviewed(known, Rating.Good, START - timedelta(days=400))
    assert back.card.last_review == START
    assert back.due >= START


def test_times_from_any_zone_are_the_same_instant() -> None:
    zone = timezone(timedelta(hours=9))
    here = reviewed(first_seen(SIX, START), Rating.Good, START)
    there = reviewed(first_seen(SIX, START), Rating.Good, START.astimezone(zone))
    assert here.due == there.due


# ── rating ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("answer", "rating"),
    [
        (Answer(SIX, False, 0.4), Rating.Again),
        (Answer(SIX, True, 0.8), Rating.Easy),
        (Answer(SIX, True, 1.9), Rating.Good),
        (Answer(SIX, True, 2.1), Rating.Hard),
        (Answer(SIX, True, 60.0), Rating.Hard),
        (Answer(SIX, True, None, True), Rating.Good),
        (Answer(SIX, True, None, False), Rating.Hard),
        (Answer(SIX, False, None, True), Rating.Again),
    ],
)
def test_an_answer_is_rated_by_correctness_and_by_time(answer: Answer, rating: Rating) -> None:
    assert rated(answer) == rating


@pytest.mark.parametrize(
    ("but", "rating"),
    [
        ({}, Rating.Easy),
        ({"tempo": 60.0}, Rating.Good),
        ({"tempo": 40.0}, Rating.Hard),
        ({"time": 0.5}, Rating.Hard),
        ({"gross": 1}, Rating.Hard),
        ({"harmony": 0.7}, Rating.Again),
        ({"gross": 3}, Rating.Again),
        ({"tempo": None, "time": None}, Rating.Hard),
        ({"tempo": None, "time": None, "answers": (Answer(SIX, True, 1.2),)}, Rating.Good),
    ],
)
def test_a_whole_is_rated_by_its_tempo_and_its_faults(
    but: dict[str, object], rating: Rating
) -> None:
    assert rated_pass(a_pass("old-tune", START, **{"tempo": 72.0, **but}), 72.0) == rating


# ── what enters ──────────────────────────────────────────────────────────────────────────────


def test_a_figuring_enters_by_being_asked() -> None:
    memory = remembered([a_pass(f"question@{SIX}", START, Answer(SIX, True, 1.0))], WHOLES)
    assert set(memory.known) == {SIX}


def test_what_stands_beside_the_figuring_asked_for_does_not_enter_with_it() -> None:
    beside = replace(SIX, degree="5")
    answers = (Answer(beside, True, 1.0), Answer(SIX, True, 1.0))
    assert set(remembered([a_pass(f"question@{SIX}", START, *answers)], WHOLES).known) == {SIX}


def test_a_figuring_played_rightly_in_a_piece_is_not_yet_asked_for() -> None:
    memory = remembered([a_pass("other", START, Answer(SIX, True, None, True))], WHOLES)
    assert not memory.known


def test_a_figuring_missed_three_times_in_playing_enters() -> None:
    def wrong(days: int) -> PassResult:
        at = START + timedelta(days=days)
        return a_pass("other", at, Answer(SIX, False, None, True))

    twice = remembered([wrong(0), wrong(1)], WHOLES)
    thrice = remembered([wrong(2)], WHOLES, twice)
    assert not twice.known
    assert thrice.known[SIX].wrong == 1


def test_no_more_missed_figurings_enter_on_a_day_than_can_be_asked() -> None:
    missed = [replace(SIX, degree=str(degree)) for degree in range(1, 8)]
    results = [
        a_pass("other", START + timedelta(days=day), *(Answer(item, False) for item in missed))
        for day in range(5)
    ]
    sizes = [len(remembered(results[:count], WHOLES).known) for count in range(1, 6)]
    assert sizes == [0, 0, 2, 4, 6]
    halves = remembered(results[3:], WHOLES, remembered(results[:3], WHOLES))
    assert halves == remembered(results, WHOLES)


def test_once_known_every_meeting_counts() -> None:
    memory = remembered(
        [
            a_pass(f"question@{SIX}", START, Answer(SIX, True, 1.0)),
            a_pass("other", START + timedelta(days=2), Answer(SIX, True, None, True)),
        ],
        WHOLES,
    )
    assert memory.known[SIX].asked == 2


def test_only_the_first_meeting_of_a_day_shows_what_was_remembered() -> None:
    morning = a_pass(f"question@{SIX}", START, Answer(SIX, False, 3.0))
    later = a_pass(f"question@{SIX}", START + timedelta(hours=1), Answer(SIX, True, 0.5))
    assert remembered([morning, later], WHOLES) == remembered([morning], WHOLES)


def test_a_cadence_is_one_item_in_each_key_and_a_piece_one_in_all() -> None:
    memory = remembered(
        [
            a_pass("cadence-simple@G", START, tempo=58.0),
            a_pass("cadence-simple@G/third", START, tempo=58.0),
            a_pass("cadence-simple@D", START, tempo=58.0, key="D major"),
            a_pass("old-tune", START, tempo=60.0),
            a_pass("old-tune", START, tempo=60.0, key="F major"),
        ],
        WHOLES,
    )
    assert set(memory.known) == {
        Item("cadence", "cadence-simple", "G major"),
        Item("cadence", "cadence-simple", "D major"),
        Item("piece", "old-tune"),
    }


def test_a_part_of_a_piece_is_not_the_piece() -> None:
    assert not remembered([a_pass("old-tune", START, tempo=60.0, whole=False)], WHOLES).known


def test_memory_folded_in_two_parts_is_the_same_memory() -> None:
    results = [
        a_pass(f"question@{SIX}", START + timedelta(days=d), Answer(SIX, d % 3 > 0, 1.0))
        for d in range(12)
    ]
    half = remembered(results[:5], WHOLES)
    together, apart = remembered(results, WHOLES), remembered(results[5:], WHOLES, half)
    assert together.known[SIX].card.to_dict() == apart.known[SIX].card.to_dict()
    assert together == apart


def test_the_most_forgotten_is_due_first() -> None:
    five = replace(SIX, degree="5")
    memory = remembered(
        [
            a_pass(f"question@{SIX}", START, Answer(SIX, True, 0.5)),
            a_pass(f"question@{five}", START, Answer(five, False, 0.5)),
        ],
        WHOLES,
    )
    due = memory.due(START + timedelta(days=300))
    assert [one.item for one in due] == [five, SIX]
    assert [one.item for one in memory.due(end_of_day(START))] == [five]
    assert Memory().due(START) == ()


def test_passes_dated_far_ahead_wait_for_their_day() -> None:
    now = START + timedelta(days=3)
    results = [
        a_pass("old-tune", START + timedelta(days=900), tempo=60.0),
        a_pass("old-tune", START, tempo=60.0),
        a_pass("old-tune", now + timedelta(hours=2), tempo=60.0),
    ]
    told, left_out = believable(results, now)
    assert left_out == 1
    assert [result.at for result in told] == [START, now]


# ── what an item is ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("bass", "figuring", "key", "melody", "item"),
    [
        ("b2", "6", "G major", "g4", "figuring | 6 | G major | 3 | 6"),
        ("d3", "#", "g minor", "f#4", "figuring | # | g minor | 5 | 3"),
        ("g2", "n", "c minor", "b4", "figuring | # | c minor | 5 | 3"),
        ("f#3", "6 5", "g minor", "a4", "figuring | 6 5 | g minor | #7 | 3"),
        ("c3", "", "C major", "c5", "figuring | - | C major | 1 | 8"),
    ],
)
def test_a_figuring_is_the_same_item_however_the_signature_spells_it(
    bass: str, figuring: str, key: str, melody: str, item: str
) -> None:
    found = figuring_item(moment(bass, figuring, key, melody), None)
    assert str(found) == item
    assert Item.parse(item) == found


def test_without_a_melody_the_top_key_tells_the_position() -> None:
    found = figuring_item(moment("c3", "6", "C major"), 69)
    assert found is not None
    assert found.position == 6
    unplayed = figuring_item(moment("c3", "6", "C major"), None)
    assert unplayed is not None
    assert unplayed.position == 0


def test_tasto_solo_asks_nothing_of_the_player() -> None:
    assert figuring_item(moment("c3", "t.s.", "C major"), 60) is None


def test_a_question_in_any_position_is_answered_in_any() -> None:
    any_position = replace(SIX, position=0)
    assert met_item(any_position, any_position, 59, 71) == any_position
    assert met_item(any_position, None, 59, 71) == SIX
    assert met_item(any_position, None, 59, None) == any_position
    assert met_item(replace(SIX, position=3), any_position, 59, 62) == any_position
