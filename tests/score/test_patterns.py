"""Drills in scale degrees: right in every key, from every position."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from trainer.errors import ExerciseError, TrainerError
from trainer.resources import exercises_folder
from trainer.score.kern import parse_exercise, write_exercise
from trainer.score.patterns import (
    KINDS,
    POSITIONS,
    Pattern,
    every_key,
    expand,
    expand_id,
    load_patterns,
    parse_bass,
)
from trainer.theory.key import Key
from trainer.theory.realize import Solver
from trainer.theory.sonority import sonorities

PATTERNS = load_patterns(exercises_folder() / "patterns")


def basses(text: str) -> list[str]:
    return [str(note.pitch) for note in expand_id(PATTERNS, text).bass]


def figures(text: str) -> list[str]:
    return [str(figuring) for _, figuring in expand_id(PATTERNS, text).figures]


def test_the_thirty_keys_are_the_fifteen_signatures_twice() -> None:
    keys = every_key()
    for mode in ("major", "minor"):
        assert sorted(k.signature for k in keys if k.mode == mode) == list(range(-7, 8))


@pytest.mark.parametrize("pattern", PATTERNS.values(), ids=list(PATTERNS))
def test_every_expansion_can_be_realized_without_a_gross_fault(pattern: Pattern) -> None:
    for key in every_key():
        for position in POSITIONS:
            exercise = expand(pattern, key, position)
            best = Solver(exercise.moments).best()[0]
            assert len(best.voicings) == len(exercise.moments)
            assert best.voicings[0].soprano == exercise.melody[0].pitch


def test_every_expansion_is_spelled_on_its_key() -> None:
    """No letter is altered by more than a semitone against the signature: no enharmonic notes."""
    for pattern in PATTERNS.values():
        for key in every_key():
            moments = expand(pattern, key).moments
            names = [m.bass.name for m in moments if m.bass is not None]
            names += [member.name for s in sonorities(moments) for member in s.members]
            for name in names:
                change = name.alter - key.alter(name.step)
                assert abs(change) <= 1, f"{name} in {pattern.id} in {key}"


def test_g_sharp_minor_has_its_double_sharp() -> None:
    assert basses("cadence-of-the-soprano@g#") == ["g#2", "f##2", "g#2"]
    assert figures("cadence-simple@g#") == ["##"]


def test_a_flat_minor_raises_its_leading_tone_by_a_natural() -> None:
    assert figures("cadence-simple@ab") == ["n"]
    assert figures("cadence-of-the-tenor@f") == ["7", "n6"]


def test_c_flat_major_lowers_by_a_double_flat() -> None:
    assert figures("flat-supertonic@Cb") == ["bb6 bb"]


def test_the_rule_of_the_octave_stands_as_the_books_have_it() -> None:
    """After J. Hiles and F. Fenaroli (1775), from memory."""
    assert basses("rule-of-the-octave@C")[:8] == ["c3", "d3", "e3", "f3", "g3", "a3", "b3", "c4"]
    moments = expand_id(PATTERNS, "rule-of-the-octave@C").moments
    written = [str(m.figuring) for m in moments]
    assert written[:8] == ["", "6 4 3", "6", "6 5", "", "6", "6 5", ""]
    assert written[8:] == ["6", "#6 4 3", "", "6 4 2", "6", "6 4 3", ""]


def test_falling_fifths_alternate_fourth_up_and_fifth_down() -> None:
    assert basses("falling-fifths@C") == ["c3", "f3", "b2", "e3", "a2", "d3", "g2", "c3"]


def test_figures_over_one_bass_share_its_time() -> None:
    exercise = expand_id(PATTERNS, "cadence-long@C")
    onsets = [onset for onset, _ in exercise.figures]
    assert onsets == [Fraction(4), Fraction(6), Fraction(8), Fraction(10)]
    assert [str(n.pitch) for n in exercise.bass if not n.tied] == ["c3", "g2", "c3"]


@pytest.mark.parametrize(("position", "top"), [("octave", "c5"), ("third", "e5"), ("fifth", "g4")])
def test_a_position_gives_the_first_top_note_and_leaves_the_rest_free(
    position: str, top: str
) -> None:
    exercise = expand_id(PATTERNS, f"cadence-simple@C:{position}")
    assert str(exercise.melody[0].pitch) == top
    assert all(note.pitch is None for note in exercise.melody[1:])
    assert exercise.melody[-1].end == exercise.length
    assert all(v.soprano is not None for v in Solver(exercise.moments).best()[0].voicings)


def test_without_a_position_there_is_no_melody() -> None:
    assert expand_id(PATTERNS, "cadence-simple@C").melody == ()


@pytest.mark.parametrize("name", ["pedal-on-the-tonic@eb:third", "falling-7-6@F#", "one-triad@C"])
def test_an_expansion_can_be_written_and_read_as_a_file(name: str) -> None:
    exercise = expand_id(PATTERNS, name)
    again = parse_exercise(write_exercise(exercise))
    assert again.bass == exercise.bass
    assert again.figures == exercise.figures
    assert again.melody == exercise.melody


def test_every_pattern_lies_in_reach_of_a_left_hand() -> None:
    for pattern in PATTERNS.values():
        for key in every_key():
            pitches = [n.pitch.midi for n in expand(pattern, key).bass if n.pitch is not None]
            assert min(pitches) >= 36, f"{pattern.id} in {key} goes below C"
            assert max(pitches) <= 62, f"{pattern.id} in {key} goes above d'"


def test_the_sequences_and_cadences_of_the_schools_are_all_there() -> None:
    """Common practice, no source: the drills every school teaches."""
    wanted = """rising-5-6 falling-7-6 parallel-sixths falling-fifths falling-thirds
        falling-fifths-with-7-on-every-second falling-fifths-with-7-on-each falling-fifths-in-6-5
        falling-fifths-in-4-2-and-6-5 falling-thirds-by-step triads-rising-by-fourths
        chain-4-3-by-fifth chain-4-3-by-step chain-9-8-by-step chain-9-8-by-fourth tied-bass-2-6
        tied-bass-5-2-6 chromatic-descent pedal-on-the-tonic pedal-on-the-dominant cadence-simple
        cadence-4-3 cadence-6-4 cadence-8-7 cadence-long cadence-half cadence-phrygian
        cadence-deceptive cadence-plagal cadence-of-the-tenor cadence-of-the-soprano
        cadence-of-the-alto rule-of-the-octave"""
    assert set(wanted.split()) <= set(PATTERNS)
    assert {pattern.kind for pattern in PATTERNS.values()} == set(KINDS)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("rising-5-6", "does not name a pattern in a key"),
        ("rising-5-7@C", "there is no pattern rising-5-7"),
        ("rising-5-6@C:seventh", "'seventh' is no position"),
        ("rising-5-6@G#", "would need a signature"),
    ],
)
def test_a_name_that_means_nothing_is_refused(text: str, says: str) -> None:
    with pytest.raises(TrainerError, match=says):
        expand_id(PATTERNS, text)


def test_the_old_modes_have_no_patterns() -> None:
    with pytest.raises(ExerciseError, match="no form in d dorian"):
        expand(PATTERNS["rising-5-6"], Key.parse("d dorian"))


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1 8", "'8' is no degree"),
        ("1 (5, )", "empty place"),
        ("1 (x)", "is not a figure"),
        ("", "no notes"),
    ],
)
def test_a_line_that_cannot_be_read_says_why(line: str, says: str) -> None:
    with pytest.raises(TrainerError, match=says):
        parse_bass(line, Fraction(2))


@pytest.mark.parametrize(
    ("toml", "says"),
    [
        ("[a]\ntitle = 'A'\n", "a: there is no kind"),
        ("[a]\nbeat = 2\n", "a: unknown entry beat"),
        ("a = 3\n", "a: this is no table"),
        ("[a\n", "this is no TOML"),
        ("[a]\ntitle='A'\nkind='scale'\nstep=2\ntempo=60\nmajor='1'\n", "there is no minor form"),
        ("[a]\ntitle='A'\nkind='scale'\nstep=25\ntempo=60\nboth='1'\n", "not on the course"),
    ],
)
def test_a_broken_pattern_file_is_named_with_its_place(
    tmp_path: Path, toml: str, says: str
) -> None:
    (tmp_path / "own.toml").write_text(toml, encoding="utf-8")
    with pytest.raises(ExerciseError, match=says) as error:
        load_patterns(tmp_path)
    assert "own.toml" in str(error.value)
