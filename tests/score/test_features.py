"""Cadences and sequences by name; the drills named after a pattern are found to contain it."""

from __future__ import annotations

import pytest

from trainer.resources import exercises_folder
from trainer.score.features import cadences, figurings, sequences, stations
from trainer.score.kern import parse_exercise
from trainer.score.patterns import expand, load_patterns
from trainer.theory.key import Key

PATTERNS = load_patterns(exercises_folder() / "patterns")


@pytest.mark.parametrize("key", ["C", "Eb", "f#"])
@pytest.mark.parametrize(
    ("pattern", "sequence"),
    [
        ("rising-5-6", "rising 5 6"),
        ("falling-7-6", "falling 7 6"),
        ("parallel-sixths", "parallel sixths"),
        ("falling-fifths", "falling fifths"),
        ("falling-thirds", "falling thirds"),
        ("falling-thirds-by-step", "falling thirds"),
        ("chain-4-3-by-fifth", "4 3 chain"),
        ("chain-9-8-by-step", "9 8 chain"),
        ("tied-bass-2-6", "tied bass"),
        ("pedal-on-the-tonic", "pedal"),
    ],
)
def test_a_drill_contains_the_sequence_it_is_named_after(
    pattern: str, sequence: str, key: str
) -> None:
    assert sequence in sequences(stations(expand(PATTERNS[pattern], Key.parse(key))))


@pytest.mark.parametrize(
    ("pattern", "cadence", "key"),
    [
        ("cadence-simple", "simple", "D"),
        ("cadence-4-3", "4 3", "g"),
        ("cadence-6-4", "6 4", "A"),
        ("cadence-long", "long", "F"),
        ("cadence-8-7", "8 7", "c"),
        ("cadence-half", "half", "Bb"),
        ("cadence-phrygian", "Phrygian", "e"),
        ("cadence-plagal", "plagal", "E"),
        ("cadence-of-the-soprano", "soprano", "C"),
        ("cadence-of-the-alto", "alto", "G"),
        ("cadence-of-the-tenor", "tenor", "d"),
    ],
)
def test_a_cadence_is_called_by_its_name(pattern: str, cadence: str, key: str) -> None:
    assert cadences(stations(expand(PATTERNS[pattern], Key.parse(key)))) == (cadence,)


def test_the_deceptive_cadence_ends_on_the_sixth_degree() -> None:
    text = (
        "**kern\t**fb\n*k[]\t*\n*C:\t*\n*M4/4\t*\n*MM60\t*\n"
        "=1\t=1\n2C\t.\n2F\t.\n=2\t=2\n2G\t.\n2A;\t.\n==\t==\n*-\t*-\n"
    )
    assert cadences(stations(parse_exercise(text))) == ("deceptive",)


def test_figurings_are_told_without_signs_and_with_their_successions() -> None:
    exercise = expand(PATTERNS["cadence-4-3"], Key.parse("e"))
    assert {"4", "4, -", "-"} <= set(figurings(stations(exercise)))
