"""From keys to voices."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tests.judging.lessons import lesson
from trainer.judging.judge import Judge, Progress, judge_chords
from trainer.judging.take import Conditions
from trainer.judging.voices import Chain, Line, divisions, extend, upper_divisions
from trainer.score.exercise import Note
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing


def keys(chord: str) -> tuple[int, ...]:
    return tuple(Pitch.parse(word).midi for word in chord.split())


def ways(chord: str, low: str = "", high: str = "") -> list[str]:
    pitches = [Pitch.parse(word) for word in chord.split()]
    return [
        str(voicing)
        for voicing in divisions(
            pitches, Pitch.parse(low) if low else None, Pitch.parse(high) if high else None
        )
    ]


def test_four_keys_are_four_voices() -> None:
    assert ways("c3 e4 g4 c5") == ["c3 e4 g4 c5"]


def test_with_three_keys_two_voices_share_one() -> None:
    assert ways("c3 e4 g4") == ["c3 e4 e4 g4", "c3 e4 g4 g4", "c3 c3 e4 g4"]


def test_with_five_keys_one_only_fills() -> None:
    assert ways("c3 g3 c4 e4 g4") == ["c3 g3 c4 g4", "c3 g3 e4 g4", "c3 c4 e4 g4"]


def test_a_supplied_melody_stays_the_soprano_under_a_crossing_alto() -> None:
    assert ways("c3 e4 g4 c5", high="g4") == ["c3 e4 c5 g4"]


def test_of_many_keys_the_four_highest_inner_ones_are_looked_at() -> None:
    found = ways("c3 e3 g3 b3 c4 e4 g4")
    assert "c3 g3 b3 g4" in found
    assert not [way for way in found if " e3 " in way]
    assert len(found) == 6


def test_two_keys_are_shared_by_four_voices() -> None:
    assert ways("c3 g4") == ["c3 g4 g4 g4", "c3 c3 g4 g4", "c3 c3 c3 g4"]


def test_one_pitch_on_two_manuals_is_two_voices() -> None:
    assert ways("c3 c3 g3 e4") == ["c3 c3 g3 e4"]
    assert ways("c3 g3 e4 e4") == ["c3 g3 e4 e4"]
    assert ways("c3 g3 c3 e4", low="c3") == ["c3 g3 c3 e4"]
    upper = [Pitch.parse(word) for word in ("g3", "e4", "e4")]
    assert list(map(str, upper_divisions(upper))) == ["- g3 e4 e4"]


def test_voices_that_cross_on_manuals_stay_in_their_order() -> None:
    assert ways("c4 g3 e4 c5") == ["c4 g3 e4 c5"]
    assert ways("c3 g4 e4 f4") == ["c3 g4 e4 f4"]
    crossing = [Pitch.parse(word) for word in ("g4", "e4", "f4")]
    assert list(map(str, upper_divisions(crossing))) == ["- g4 e4 f4"]


def test_of_many_keys_on_manuals_the_last_four_before_the_soprano_are_looked_at() -> None:
    found = ways("c3 b4 g3 b3 c4 e4 g4")
    assert len(found) == 6 and not [way for way in found if " b4 " in way]
    above = [Pitch.parse(word) for word in ("b4", "g3", "b3", "c4", "e4", "g4")]
    assert not [way for way in upper_divisions(above) if Pitch.parse("b4") in tuple(way)]


def test_one_key_is_all_four_voices_and_none_is_no_chord() -> None:
    assert ways("c4") == ["c4 c4 c4 c4"]
    assert ways("") == []
    assert divisions(()) == ()


def test_a_supplied_bass_stays_the_bass_over_a_lower_key() -> None:
    assert ways("c3 e3 g4 c5", low="e3") == ["e3 c3 g4 c5"]


def upper_ways(chord: str, high: str = "") -> list[str]:
    pitches = [Pitch.parse(word) for word in chord.split()]
    return [str(way) for way in upper_divisions(pitches, Pitch.parse(high) if high else None)]


def test_where_the_bass_rests_the_keys_are_soprano_alto_and_tenor() -> None:
    assert upper_ways("e4 a4 c5") == ["- e4 a4 c5"]
    assert upper_ways("e4 a4 c5", high="a4") == ["- e4 c5 a4"]
    assert upper_ways("c4 e4 a4 c5") == ["- c4 e4 c5", "- c4 a4 c5", "- e4 a4 c5"]
    assert upper_ways("a3 e4") == ["- a3 a3 e4", "- a3 e4 e4"]
    assert upper_ways("e4") == ["- e4 e4 e4"]
    assert upper_divisions(()) == ()


def test_over_a_resting_bass_too_only_the_four_highest_inner_keys_are_looked_at() -> None:
    found = upper_ways("c3 e3 g3 b3 c4 e4")
    assert len(found) == 6
    assert not [way for way in found if " c3 " in way]


# ── the least faulty way through ─────────────────────────────────────────────────────────────

LOW, MIDDLE, HIGH = (Voicing.parse(f"c3 {tenor} g4 c5") for tenor in ("c4", "e4", "g4"))


class Prices:
    """Tells the price of each step, and remembers what was asked."""

    def __init__(self, prices: dict[tuple[Voicing | None, Voicing], int]) -> None:
        self.prices = prices
        self.asked: list[tuple[Voicing | None, Voicing]] = []

    def __call__(self, before: Voicing | None, after: Voicing) -> int:
        self.asked.append((before, after))
        return self.prices.get((before, after), 0)


def voicings(line: Line) -> tuple[Voicing, ...]:
    assert line.best is not None
    return line.best.voicings()


def test_before_the_first_chord_there_is_no_best_way() -> None:
    assert Line().best is None


def test_the_way_with_the_fewest_faults_in_all_is_taken() -> None:
    """The cheapest beginning leads into the dearest step."""
    prices = Prices(
        {(None, LOW): 1, (None, HIGH): 2, (LOW, MIDDLE): 5, (HIGH, MIDDLE): 3, (HIGH, LOW): 9}
    )
    line = extend(Line(), (LOW, HIGH), prices)
    assert line.ends == ((1, Chain(LOW)), (2, Chain(HIGH)))
    line = extend(line, (MIDDLE, LOW), prices)
    assert [spent for spent, _ in line.ends] == [5, 1]
    assert voicings(line) == (LOW, LOW)
    line = extend(line, (HIGH,), Prices({(LOW, HIGH): 7}))
    assert voicings(line) == (HIGH, MIDDLE, HIGH)
    assert line.ends[0][0] == 5


def test_of_two_ways_equally_good_the_plainer_is_taken() -> None:
    line = extend(extend(Line(), (LOW, HIGH), Prices({})), (MIDDLE,), Prices({}))
    assert voicings(line) == (LOW, MIDDLE)
    dear = Prices({(LOW, MIDDLE): 4, (HIGH, MIDDLE): 3})
    line = extend(extend(Line(), (LOW, HIGH), Prices({(None, HIGH): 1})), (MIDDLE,), dear)
    assert voicings(line) == (LOW, MIDDLE)


def test_what_has_cost_as_much_already_is_not_weighed() -> None:
    begun = extend(Line(), (LOW, HIGH, MIDDLE), Prices({(None, HIGH): 2, (None, MIDDLE): 1}))
    prices = Prices({(LOW, LOW): 2, (MIDDLE, LOW): 1})
    assert extend(begun, (LOW,), prices).ends[0][0] == 2
    assert prices.asked == [(LOW, LOW), (MIDDLE, LOW)]


def test_where_there_is_no_choice_nothing_is_weighed() -> None:
    prices = Prices({(None, LOW): 3, (LOW, HIGH): 3})
    line = extend(extend(Line(), (LOW,), prices), (HIGH,), prices)
    assert prices.asked == []
    assert line.ends == ((0, Chain(HIGH, Chain(LOW))),)
    assert voicings(line) == (LOW, HIGH)
    extend(line, (LOW, MIDDLE), prices)
    assert prices.asked == [(HIGH, LOW), (HIGH, MIDDLE)]


def test_the_unison_is_put_where_nothing_is_broken() -> None:
    """g3 b3 f4: on one key with the alto the tenor would double the seventh; with the bass free."""
    exercise = lesson("C", "g2 c3", "7,")
    verdict = judge_chords(exercise, Conditions(), {0: keys("g2 b3 f4"), 1: keys("c3 c4 e4")})
    assert not [f for f in verdict.faults if f.rule.startswith("doubled")]


def test_what_follows_decides_who_shared_a_key() -> None:
    """The division of the first chord is chosen for the whole phrase, not chord by chord."""
    exercise = lesson("C", "c3 d3", ",6")
    chords = {0: keys("c3 e4 g4"), 1: keys("d3 d4 f4 b4")}
    verdict = judge_chords(exercise, Conditions(), chords)
    voicings = [m.voicing for m in verdict.moments]
    assert voicings[0] in (
        Voicing.parse("c3 e4 g4 g4"),
        Voicing.parse("c3 e4 e4 g4"),
    )
    assert not [f for f in verdict.faults if f.weight == "gross"]


def test_a_bass_held_on_counts_where_the_finger_has_left_it() -> None:
    """Over a long bass note the figure changes; the note is not struck again."""
    exercise = lesson("C", "g2 g2", "4,3")
    bass = exercise.bass
    held = replace(exercise, bass=(bass[0], replace(bass[1], tied=True)))
    verdict = judge_chords(held, Conditions(), {0: keys("g2 g3 c4 d4"), 1: keys("g3 b3 d4")})
    assert [m.outcome for m in verdict.moments] == ["complete", "complete"]


def test_a_melody_note_alone_moves_over_voices_that_lie() -> None:
    exercise = lesson("C", "c3 c3", ",", "e5 g5")
    quarter = Fraction(1)
    bass = (Note(Fraction(0), 2 * quarter, Pitch.parse("c3")),)
    piece = replace(exercise, bass=bass)
    judge = Judge(piece, Conditions())
    progress, _, _ = judge.chord(Progress(), 0, keys("c3 g4 c5 e5"))
    _, verdict, faults = judge.chord(progress, 1, keys("g5"))
    assert verdict.outcome == "complete"
    assert verdict.voicing == Voicing.parse("c3 g4 c5 g5")
    assert faults == ()


def test_the_pedal_fills_the_harmony_but_is_no_voice() -> None:
    judge = Judge(lesson("C", "c3", ""), Conditions())
    _, verdict, _ = judge.chord(Progress(), 0, keys("c3 g4 c5"), pedalled=keys("e4"))
    assert verdict.outcome == "complete"
    assert verdict.voicing is not None
    assert Pitch.parse("e4") not in tuple(verdict.voicing)


def test_before_anything_is_played_all_that_must_sound_is_missing() -> None:
    judge = Judge(lesson("C", "g2", "7"), Conditions(supply=("bass",)))
    verdict = judge.harmony(0, ())
    assert verdict.outcome == "not-played"
    assert set(verdict.missing) == {"3", "7"}


def test_a_further_key_may_not_double_a_leading_tone_either() -> None:
    exercise = lesson("C", "g2", "")
    verdict = judge_chords(exercise, Conditions(), {0: keys("g2 g3 b3 d4 b4")})
    assert [f.rule for f in verdict.faults if f.weight == "gross"] == ["doubled-leading-tone"]


def test_where_the_bass_rests_three_voices_are_left() -> None:
    exercise = lesson("C", "- c3", "6,")
    verdict = judge_chords(exercise, Conditions(), {0: keys("e4 a4 c5"), 1: keys("c3 e4 g4 c5")})
    assert verdict.moments[0].outcome == "complete"
    voicing = verdict.moments[0].voicing
    assert voicing is not None
    assert voicing.bass is None
    assert str(voicing.tenor) == "e4"


def test_keys_are_judged_by_the_notes_they_mean() -> None:
    """In a minor the key between g and a is g#, and from f to it an augmented second."""
    exercise = lesson("a", "f3 e3", "6,#")
    verdict = judge_chords(
        exercise, Conditions(), {0: keys("f3 d4 f4 a4"), 1: keys("e3 b3 g#4 b4")}
    )
    assert [f.rule for f in verdict.faults if f.weight == "weak"] == ["augmented-step"]
