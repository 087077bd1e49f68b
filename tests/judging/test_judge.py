"""Keys against an exercise: harmony, who sings what, movement."""

from __future__ import annotations

import pytest

from tests.judging.lessons import lesson, marked, rules_broken
from trainer.judging.judge import Judge, Progress, judge_chords
from trainer.judging.take import Conditions
from trainer.theory.pitch import Pitch


def keys(chord: str) -> tuple[int, ...]:
    return tuple(Pitch.parse(word).midi for word in chord.split())


def judged(key: str, bass: str, figures: str, *chords: str, melody: str = ""):  # type: ignore[no-untyped-def]
    exercise = lesson(key, bass, figures, melody)
    return judge_chords(exercise, Conditions(), {i: keys(c) for i, c in enumerate(chords)})


def test_any_position_of_a_complete_chord_is_right() -> None:
    for chord in ("c3 e3 g3 c4", "c3 g3 c4 e4", "c3 c4 e4 g4", "c3 g3 e4 c5"):
        assert judged("C", "c3", "", chord).moments[0].outcome == "complete"


def test_three_keys_may_be_four_voices() -> None:
    verdict = judged("C", "c3", "", "c3 e4 g4")
    assert verdict.moments[0].outcome == "complete"
    assert verdict.moments[0].voicing is not None


def test_two_keys_want_a_voice() -> None:
    verdict = judged("C", "c3", "", "c3 e4")
    assert verdict.moments[0].outcome == "incomplete"


def test_what_is_missing_is_named_as_a_figure() -> None:
    verdict = judged("C", "g2", "7", "g2 b3 d4 g4")
    assert verdict.moments[0].outcome == "incomplete"
    assert verdict.moments[0].missing == ("7",)
    assert rules_broken(verdict) == ["missing-figure"]


def test_what_is_foreign_is_named_as_a_figure() -> None:
    verdict = judged("C", "c3", "", "c3 e4 g#4 c5")
    assert verdict.moments[0].outcome == "foreign"
    assert verdict.moments[0].foreign == ("#5",)


def test_a_seventh_added_to_a_triad_is_a_remark() -> None:
    verdict = judged("C", "g2", "", "g2 f3 b3 d4")
    assert verdict.moments[0].outcome == "complete"
    assert verdict.moments[0].additions == ("7",)
    assert [f.weight for f in verdict.faults] == ["remark"]


def test_another_bass_and_another_melody_are_named() -> None:
    assert judged("C", "c3", "", "e3 g3 c4").moments[0].outcome == "wrong-bass"
    wrong = judged("C", "c3", "", "c3 e4 g4 c5", melody="e5")
    assert wrong.moments[0].outcome == "wrong-melody"
    assert rules_broken(wrong) == ["wrong-melody"]


def test_a_bass_in_another_octave_is_right_and_remarked() -> None:
    verdict = judged("C", "c3", "", "c2 g3 c4 e4")
    assert verdict.moments[0].outcome == "complete"
    assert [(f.rule, f.weight) for f in verdict.faults] == [("another-octave", "remark")]
    supplied = Conditions(supply=("bass",))
    exercise = lesson("C", "c3", "")
    assert judge_chords(exercise, supplied, {0: keys("c2 g3 c4 e4")}).faults == ()


def test_an_addition_in_two_voices_is_remarked_once() -> None:
    verdict = judged("C", "g2", "", "g2 b3 f4 f5")
    assert rules_broken(verdict).count("addition") == 1


def test_a_sign_without_numbers_is_explained_where_something_else_is_played() -> None:
    for figures, reminder in (
        (",t.s.", "The bass plays alone here."),
        (",unis.", "All play the bass in octaves here."),
        (",_", "The line keeps the chord before it."),
    ):
        chords = {0: [48, 64, 67, 72], 1: [50, 65, 69, 74]}
        faults = judge_chords(lesson("C", "c3 d3", figures), Conditions(), chords).faults
        foreign = next(f for f in faults if f.rule == "foreign-note")
        assert foreign.text.endswith(f"contradicts the figuring. {reminder}")


def test_a_chord_not_played_breaks_the_thread() -> None:
    exercise = lesson("C", "c3 d3 c3", ",,")
    verdict = judge_chords(exercise, Conditions(), {0: keys("c3 g3 c4 e4"), 2: keys("c3 g3 c4 e4")})
    assert [m.outcome for m in verdict.moments] == ["complete", "not-played", "complete"]
    assert verdict.faults == ()
    assert verdict.movement.successions == 0


def test_three_keys_are_divided_so_that_nothing_is_broken() -> None:
    """c3 g3 c4 to f3 a3 c4: with the doubled note in the wrong voice there are octaves."""
    verdict = judged("C", "c3 f3", ",", "c3 g3 c4 e4", "f3 a3 c4")
    assert not [f for f in verdict.faults if f.weight == "gross"]


def test_supplied_voices_sound_with_the_players() -> None:
    exercise = lesson("C", "c3 f3", ",", "c5 c5")
    conditions = Conditions(supply=("bass", "melody"))
    verdict = judge_chords(exercise, conditions, {0: keys("e4 g4"), 1: keys("f4 a4")})
    assert [m.outcome for m in verdict.moments] == ["complete", "complete"]
    assert verdict.faults == ()


def test_consecutive_fifths_and_octaves_are_found_between_the_right_voices() -> None:
    verdict = marked("C", ",", "c3 g3 c4 e4", "d3 a3 d4 f4")
    gross = {(f.rule, f.voices) for f in verdict.faults if f.weight == "gross"}
    assert gross == {
        ("consecutive-fifths", ("tenor", "bass")),
        ("consecutive-octaves", ("alto", "bass")),
    }


def test_what_the_given_outer_voices_do_is_not_the_players_fault() -> None:
    verdict = marked("C", ",", "c3 e4 g4 c5", "d3 f4 a4 d5", melody=True)
    assert ("soprano", "bass") not in {f.voices for f in verdict.faults}


def test_a_gross_fault_across_a_fermata_is_weak() -> None:
    verdict = marked("C", ",", "c3 g3 c4 e4", "d3 a3 d4 f4", fermatas=(0,))
    assert verdict.movement.gross == 0
    assert verdict.movement.weak >= 2


def test_contrary_motion_is_free_in_the_final_cadence() -> None:
    inside = marked("C", ",,", "g2 g3 b3 d4", "c3 e3 g3 c4", "c3 e3 g3 c4")
    final = marked("C", ",", "c3 g3 e4 g4", "g2 d4 d4 b4")
    assert "consecutives-by-contrary-motion" not in rules_broken(final)
    assert "consecutives-by-contrary-motion" not in rules_broken(inside)


def test_the_live_judge_and_the_whole_pass_say_the_same_of_four_keys() -> None:
    chords = ("c3 g3 c4 e4", "d3 a3 d4 f4", "g2 b3 d4 g4")
    exercise = lesson("C", "c3 d3 g2", ",,")
    judge = Judge(exercise, Conditions())
    progress = Progress()
    found = []
    for index, chord in enumerate(chords):
        progress, verdict, faults = judge.chord(progress, index, keys(chord))
        assert verdict.voicing is not None
        found += faults
    whole = judge.judge_chords({i: keys(c) for i, c in enumerate(chords)})
    assert sorted(f.text for f in found) == sorted(f.text for f in whole.faults)


def test_faults_say_where_and_between_whom() -> None:
    verdict = marked("C", ",", "c3 g3 c4 e4", "d3 a3 d4 f4")
    assert "Bar 1, beat 2: tenor and bass move in consecutive fifths." in {
        f.text for f in verdict.faults
    }


@pytest.mark.parametrize(
    ("key", "figures", "chord", "missing"),
    [
        ("C", "6 4 3", "d3 f4 g4 d5", "6"),
        ("a", "#6 4 3", "b2 d4 e4 b4", "#6"),
        ("C", "6 4 2", "f3 b3 g4 b4", "6"),
        ("C", "#5", "c3 e4 c5 e5", "#5"),
        ("C", "7 4 2", "c3 d4 b4 d5", "4"),
    ],
)
def test_what_is_written_and_not_played_is_wrong(
    key: str, figures: str, chord: str, missing: str
) -> None:
    """A 6 4 3 without its 6 was complete, even where the 6 was raised; so was a raised 5 that
    nobody played."""
    verdict = marked(key, figures, chord)
    assert [(m.outcome, m.missing) for m in verdict.moments] == [("incomplete", (missing,))]
    assert "missing-figure" in rules_broken(verdict)


def test_a_ninth_over_a_bass_that_stays_has_to_step_down() -> None:
    """The bass has the note it should go to all the time: that was an excuse."""
    up = marked("C", ",9,8", "g2 d4 g4 b4", "c3 d4 e4 c5", "c3 e4 e4 c5")
    down = marked("C", ",9,8", "g2 d4 g4 b4", "c3 d4 e4 c5", "c3 c4 e4 c5")
    assert rules_broken(up) == ["unresolved-dissonance"]
    assert rules_broken(down) == []


def test_a_bass_that_moves_to_the_resolution_only_delays_it() -> None:
    moved = marked("C", "6 5,", "b2 d4 f4 g4", "e3 c4 e4 g4")
    taken = marked("a", "4 2,6", "d3 e4 g#4 b4", "c3 e4 a4 c5")
    assert "unresolved-dissonance" not in rules_broken(moved) + rules_broken(taken)


@pytest.mark.parametrize(
    ("figures", "before", "chord", "scolded"),
    [
        (",7", "c3 g3 c4 e4", "g2 d4 f4 b4", False),  # the dominant
        (",b7", "f3 c4 f4 a4", "c3 e4 bb4 c5", False),  # that of the fourth degree
        (",7", "a2 c4 e4 a4", "b2 d4 a4 f4", False),  # the half diminished
        (",7", "g2 d4 g4 b4", "d3 f4 a4 c5", False),  # by step
        (",7", "f3 a3 c4 a4", "a2 c4 g4 a4", True),  # a minor seventh over a minor third
    ],
)
def test_a_seventh_enters_freely_in_chords_like_dominants(
    figures: str, before: str, chord: str, scolded: bool
) -> None:
    """That of the dominant of another degree was scolded. Common practice, no source."""
    verdict = marked("C", figures, before, chord)
    assert ("dissonance-by-leap" in rules_broken(verdict)) == scolded


def test_the_seventh_degree_is_no_leading_tone_as_a_fifth() -> None:
    """In iii7 to vi7 it may fall: it was scolded, and not to be doubled. Common practice, no
    source."""
    verdict = marked("C", "7,7", "e3 g4 b4 d5", "a2 g4 a4 c5")
    assert "leading-tone-astray" not in rules_broken(verdict)
    doubled = marked("C", "7", "e3 d4 g4 b4")
    assert "doubled-leading-tone" not in rules_broken(doubled)
    assert "leading-tone-astray" in rules_broken(marked("C", ",", "g2 d4 g4 b4", "c3 c4 e4 g4"))
