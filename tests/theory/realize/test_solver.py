"""The solver on small exercises whose answers one can see."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tests.judging.lessons import lesson
from trainer.errors import InputError, NoVoicingError
from trainer.score.exercise import Exercise, Note
from trainer.theory.pitch import Pitch
from trainer.theory.realize import STEP_RULES, Solver, Taste
from trainer.theory.realize.pairs import Pairs, Steps, paired
from trainer.theory.voicing import Voicing


def solved(key: str, bass: str, figures: str, melody: str = "", **settings) -> Solver:
    return Solver(lesson(key, bass, figures, melody).moments, **settings)


def texts(voicings) -> list[str]:
    return [str(voicing) for voicing in voicings]


def with_melody_notes(exercise: Exercise, *notes: tuple[str, str, str]) -> Exercise:
    melody = tuple(
        Note(Fraction(at), Fraction(length), None if pitch == "-" else Pitch.parse(pitch))
        for at, length, pitch in notes
    )
    return replace(exercise, melody=melody)


def test_under_a_melody_a_triad_has_few_voicings_and_the_full_chord_is_first() -> None:
    solver = solved("C", "c3", "", "e4")
    # within the octave below e: the bass, third or fifth doubled, the fifth left out or in
    assert texts(solver.voicings(0))[0] == "c3 g3 c4 e4"
    assert all(str(v).startswith("c3") and str(v).endswith("e4") for v in solver.voicings(0))
    assert solver.count() == len(solver.voicings(0))


def test_common_tones_stay_and_the_others_step_against_the_bass() -> None:
    solution = solved("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4").best()[0]
    assert texts(solution.voicings)[:2] == ["c3 g3 c4 e4", "f3 a3 c4 f4"]


def test_the_ten_best_are_ten_different_ones_in_order() -> None:
    solver = solved("G", "g2 c3 d3 g2", ",,7,")
    found = solver.best(10)
    assert len({solution.voicings for solution in found}) == 10
    assert [s.cost for s in found] == sorted(s.cost for s in found)
    assert found[0] == solver.best()[0]


def test_without_fifths_forbidden_there_are_more_ways() -> None:
    strict = solved("C", "c3 d3 e3", ",,6")
    rules = {rule for rule in STEP_RULES if rule.startswith("consecutive")}
    assert solved("C", "c3 d3 e3", ",,6", rules=rules - {"consecutive-fifths"}).count() > (
        solved("C", "c3 d3 e3", ",,6", rules=rules).count()
    )
    assert solved("C", "c3 d3 e3", ",,6", rules=()).count() == np.prod(
        [len(strict.voicings(i)) for i in range(3)]
    )


def test_a_rule_nobody_knows_is_named() -> None:
    with pytest.raises(InputError, match="'no-such-rule' is not a rule"):
        solved("C", "c3", "", rules=["no-such-rule"])


def test_two_hands_may_spread_wider_than_one() -> None:
    wide = {str(v) for v in solved("C", "c3", "", "e5", hands="2+2").voicings(0)}
    assert "c3 g3 c5 e5" in wide
    assert "c3 g3 c5 e5" not in {str(v) for v in solved("C", "c3", "", "e5").voicings(0)}


def test_the_inner_voices_hold_while_the_melody_passes() -> None:
    exercise = with_melody_notes(
        lesson("C", "c3 g2", ""), ("0", "1/2", "e4"), ("1/2", "1/2", "f4"), ("1", "1", "g4")
    )
    solver = Solver(exercise.moments)
    for solution in solver.best(20):
        first, second, _ = solution.voicings
        assert (first.alto, first.tenor) == (second.alto, second.tenor)
        assert str(second.soprano) == "f4"


def test_over_tasto_solo_and_a_silent_bass_the_inner_voices_rest() -> None:
    solution = solved("C", "c3 d3 - c3", ",t.s.,,", "e4 f4 g4 e4").best()[0]
    assert texts(solution.voicings)[1:3] == ["d3 - - f4", "- - - g4"]


def test_in_unison_the_bass_is_doubled_in_octaves_only() -> None:
    solution = solved("C", "c3 d3 c3", ",unis.,").best()[0]
    assert str(solution.voicings[1]) in ("d3 d4 - -", "d3 d5 - -")


def test_an_extender_keeps_the_chord_while_the_bass_moves() -> None:
    solution = solved("C", "c3 d3 e3", ",_,6", "e4 e4 c5").best()[0]
    first, second, _ = solution.voicings
    assert (first.soprano, first.alto, first.tenor) == (second.soprano, second.alto, second.tenor)


def test_the_best_continuation_starts_from_the_hand() -> None:
    solver = solved("C", "c3 f3 g3 c3", "", "c5 c5 b4 c5")
    hand = Voicing.parse("c3 c4 g4 c5")
    onward = solver.onward(0, hand)
    assert onward.first == 1 and len(onward.voicings) == 3
    price, cheapest = solver.followers(0, hand)[0]
    assert price > 0 and cheapest in {v for _, v in solver.followers(0, hand)}
    best = solver.best()[0]
    again = solver.onward(0, best.voicings[0])
    assert again.voicings == best.voicings[1:]


def test_from_a_hand_without_any_way_on_the_moment_is_named() -> None:
    # the c is in no voice of this hand, so 4 3 cannot be prepared
    solver = solved("C", "f3 g3 c3", ",4,", "a4 g4 e4")
    with pytest.raises(NoVoicingError, match="bar 1 beat 2: nothing legal can follow f3 a3 f4 a4"):
        solver.onward(0, Voicing.parse("f3 a3 f4 a4"))


def test_what_is_already_legal_is_nearest_to_itself() -> None:
    solver = solved("G", "g2 c3 d3 g2", ",,7,", "d5 e5 f#5 g5")
    for solution in solver.best(5):
        played = {i: [p.midi for p in v if p is not None] for i, v in enumerate(solution.voicings)}
        found = solver.nearest(played).voicings  # of two voices on one key either may have it
        again = {i: {p.midi for p in v if p is not None} for i, v in enumerate(found)}
        assert again == {i: {*keys} for i, keys in played.items()}


def test_a_wrong_note_is_mended_by_the_smallest_change() -> None:
    solver = solved("C", "c3 g2 c3", "", "e4 d4 e4")
    played = {0: [48, 55, 60, 64], 1: [43, 55, 60, 62], 2: [48, 55, 60, 64]}  # c for b
    assert texts(solver.nearest(played).voicings)[1] == "g2 g3 b3 d4"


def test_taste_changes_the_order_but_not_the_number() -> None:
    plain = solved("C", "c3 f3 g3 c3", "")
    leaping = solved("C", "c3 f3 g3 c3", "", taste=Taste(motion=(9, 9, 9, 1, 1, 1)))
    assert plain.count() == leaping.count()
    assert plain.best()[0].voicings != leaping.best()[0].voicings


def test_no_moments_have_no_realization_to_show() -> None:
    assert Solver(()).best() == () and Solver(()).count() == 0


# what cannot be done is said with its place


def test_a_bass_outside_the_keyboard_is_named() -> None:
    with pytest.raises(NoVoicingError, match="bar 1 beat 2: the bass c0 lies outside the keyboard"):
        solved("C", "c3 c0", "")


def test_a_melody_below_the_bass_is_named() -> None:
    with pytest.raises(NoVoicingError, match="bar 1 beat 1: the melody c3 lies below the bass e3"):
        solved("C", "e3 c3", "6,", "c3 c4")


@pytest.mark.parametrize(
    ("bass", "figures", "melody", "rule"),
    [
        ("c3 d3", ",4", "c4 a4", "unprepared-suspension"),
        ("c3 d3", "6 5,", "c4 a4", "unresolved-dissonance"),
        ("c3 d3", "6 5,", "d4 c4", "consecutive-fifths"),
        ("g3 c3", ",4", "b4 f4", "consecutive-octaves"),
    ],
)
def test_the_rule_that_forbids_the_last_ones_is_named(
    bass: str, figures: str, melody: str, rule: str
) -> None:
    solver = solved("C", bass, figures, melody)
    assert solver.count() == 0 and solver.voicings(1)
    with pytest.raises(NoVoicingError, match=rf"bar 1 beat 2: no voicing is legal.*\({rule}\)"):
        solver.best()


def test_a_figuring_without_room_under_the_melody_is_named() -> None:
    solver = solved("C", "c4 c3", "7,", "c4 c4")
    with pytest.raises(NoVoicingError, match=r"bar 1 beat 1: .*under the melody c4"):
        solver.best()


# long pieces


def test_long_pieces_are_worked_out_in_blocks_without_changing_the_answer() -> None:
    starts = np.array([0, 3, 7, 7, 9, 14], np.intp)

    def work(pairs: Pairs) -> np.ndarray:
        return pairs.before * 100 + pairs.after

    steps = Steps(starts, work)
    for place in (3, 2, 1, 0, 3):
        rows = np.arange(starts[place], starts[place + 1])
        after = np.arange(starts[place + 1], starts[place + 2])
        assert (steps(place) == rows[:, None] * 100 + after).all()
    assert (paired(starts, 0, 4).place == np.repeat([0, 3], [12, 10])).all()


def test_ten_thousand_moments_are_realized_and_counted() -> None:
    cell = lesson("C", "c3 f3 g3 c3", ",,4,", "e4 f4 g4 e4")
    many = 2500
    bass = tuple(replace(n, onset=n.onset + 4 * i) for i in range(many) for n in cell.bass)
    melody = tuple(replace(n, onset=n.onset + 4 * i) for i in range(many) for n in cell.melody)
    figures = tuple((at + 4 * i, f) for i in range(many) for at, f in cell.figures)
    solver = Solver(replace(cell, bass=bass, melody=melody, figures=figures).moments)
    assert len(solver.best()[0].voicings) == 10_000
    assert solver.count() > 2**10_000


def test_a_full_chord_is_played_where_nothing_speaks_against_it() -> None:
    """Opening and closing a phrase the fifth is there: f a c f, not f a f f; the inner leading
    tone may fall a third for it (common practice, no source)."""
    opening = Solver(lesson("F", "f3 d3 bb2", "", "f4 a4 bb4").moments).best()[0]
    assert str(opening.voicings[0]) == "f3 a3 c4 f4"
    closing = Solver(lesson("G", "d3 d3 g2", "6 4,5 3,", "b4 a4 g4").moments).best()[0]
    assert str(closing.voicings[-1]) == "g2 b3 d4 g4"


def test_a_fifth_is_left_out_where_the_voices_want_it() -> None:
    """The price is one of taste: without its fifth a triad stays legal."""
    solver = Solver(lesson("F", "f3", "", "f4").moments)
    assert "f3 a3 f4 f4" in {str(voicing) for voicing in solver.voicings(0)}
