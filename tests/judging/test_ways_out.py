"""What would have been right from there."""

from __future__ import annotations

import random

from tests.judging.at_random import exercise_at_random
from tests.judging.lessons import lesson
from trainer.errors import NoVoicingError
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.judging.ways_out import with_ways_out
from trainer.score.exercise import Exercise
from trainer.theory.pitch import PitchName
from trainer.theory.realize import Solver
from trainer.theory.voicing import Voicing


def judged(exercise: Exercise, *chords: str, **conditions) -> PassVerdict:
    judge = Judge(exercise, Conditions(**conditions))
    heard = judge.soundings({i: Voicing.parse(chord) for i, chord in enumerate(chords)})
    return with_ways_out(exercise, judge.conditions, judge.judge_realization(heard), judge.given)


def test_a_doubled_leading_tone_is_mended_by_the_nearest_note() -> None:
    verdict = judged(lesson("G", "d3 g3", "#,", "a4 g4"), "d3 f#3 f#4 a4", "g3 b3 d4 g4")
    fault = next(f for f in verdict.faults if f.rule.startswith("doubled"))
    assert fault.instead is not None
    assert fault.text.endswith("avoids it.")
    assert str(fault.instead) in ("d3 d3 f#4 a4", "d3 a3 f#4 a4", "d3 f#3 d4 a4")


def test_consecutive_fifths_are_mended_from_the_chord_before() -> None:
    exercise = lesson("C", "c3 d3", "", "e4 f4")
    verdict = judged(exercise, "c3 g3 c4 e4", "d3 a3 d4 f4")
    fault = next(f for f in verdict.faults if f.rule == "consecutive-fifths")
    assert fault.instead is not None and str(fault.instead).startswith("d3")
    assert "From your hand, " in fault.text and " it." in fault.text
    mended = judged(exercise, "c3 g3 c4 e4", str(fault.instead))
    assert not any(f.weight == "gross" for f in mended.faults)


def test_a_missing_third_is_put_into_a_voice_by_name() -> None:
    verdict = judged(lesson("A", "a2", "", "e4"), "a2 e3 a3 e4")
    fault = next(f for f in verdict.faults if f.rule == "missing-third")
    assert fault.instead is not None
    assert "c sharp" in fault.text


def test_notes_are_said_in_words() -> None:
    said = [PitchName.parse(n).spoken for n in ("f#", "bb", "c", "f##", "ebb")]
    assert said == ["f sharp", "b flat", "c", "f double sharp", "e double flat"]


def test_every_way_out_is_legal_from_the_chord_before_and_avoids_the_rule() -> None:
    offered = 0
    for seed in range(3000, 3040):
        exercise = exercise_at_random(seed, chords=6)
        try:
            solver = Solver(exercise.moments)
        except NoVoicingError:
            continue
        sizes = [range(len(solver.voicings(i))) for i in range(len(exercise.moments))]
        if not all(sizes):
            continue
        rng = random.Random(seed)
        judge = Judge(exercise, Conditions())
        played = {i: solver.voicings(i)[rng.choice(size)] for i, size in enumerate(sizes)}
        verdict = judge.judge_realization(judge.soundings(played))
        for fault in with_ways_out(exercise, judge.conditions, verdict, judge.given).faults:
            if fault.instead is None:
                continue
            at = fault.moments[-1]
            assert fault.instead in solver.voicings(at)
            if "From your hand" in fault.text and at:
                pair = {at - 1: played[at - 1], at: fault.instead}
                again = judge.judge_realization(judge.soundings(pair))
                assert not any(f.weight == "gross" for f in again.faults if f.moments[-1] == at)
                assert not any(f.rule == fault.rule for f in again.faults if f.moments[-1] == at)
            offered += 1
    assert offered > 60


def test_of_the_ways_at_hand_a_full_chord_is_shown_before_the_very_nearest() -> None:
    """Fifths and octaves of c to d in close position: d f f f lies nearest, but no teacher shows
    it (common practice, no source)."""
    under_a_melody = judged(lesson("C", "c3 d3", "", "e4 f4"), "c3 g3 c4 e4", "d3 a3 d4 f4")
    free = judged(lesson("C", "c3 d3", ""), "c3 e4 g4 c5", "d3 f4 a4 d5")
    for verdict, way in ((under_a_melody, "d3 f3 a3 f4"), (free, "d3 d4 f4 a4")):
        fault = next(f for f in verdict.faults if f.rule == "consecutive-fifths")
        assert str(fault.instead) == way


def test_a_leading_tone_forgotten_in_minor_is_mended_against_the_rising_bass() -> None:
    verdict = judged(lesson("a", "a2 e3", ",#"), "a2 e3 a3 c4", "e3 b3 e4 g4")
    fault = next(f for f in verdict.faults if f.rule == "missing-figure")
    assert fault.text.endswith("From your hand, soprano b, alto g sharp and tenor e avoid it.")


def test_where_more_keys_than_voices_double_the_leading_tone_no_other_voice_is_blamed() -> None:
    exercise = lesson("C", "g2", "7")
    judge = Judge(exercise, Conditions())
    keys = [43, 47, 53, 59, 62, 67]
    verdict = with_ways_out(exercise, judge.conditions, judge.judge_chords({0: keys}), judge.given)
    fault = next(f for f in verdict.faults if f.rule == "doubled-leading-tone")
    assert fault.instead is None
    assert fault.text.endswith("a further key double the leading tone b.")
