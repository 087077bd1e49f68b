"""What each figuring sounds: the completion table (common practice, no single source)."""

from __future__ import annotations

import pytest

from trainer.errors import FigureError
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch
from trainer.theory.sonority import Sonority, sonority


def over(bass: str, figures: str, key: str = "C", melody: str | None = None) -> Sonority:
    return sonority(
        Pitch.parse(bass),
        Figuring.parse(figures),
        Key.parse(key),
        None if melody is None else Pitch.parse(melody),
    )


def best(found: Sonority) -> str:
    return " ".join(str(found.name(number)) for number in found.completions[0])


@pytest.mark.parametrize(
    ("bass", "figures", "key", "notes"),
    [
        ("c3", "", "C", "c e g"),
        ("e3", "#", "a", "e g# b"),
        ("e3", "6", "C", "e g c"),
        ("b2", "6 5", "C", "d f g"),
        ("d3", "4 3", "C", "f g b"),
        ("f3", "4 2", "C", "g b d"),
        ("c3", "2", "C", "d f a"),
        ("c3", "5 2", "C", "d d g"),
        ("c3", "5 4 2", "C", "d f g"),
        ("f3", "4+", "F", "g b d"),
        ("g2", "6 4", "C", "g c e"),
        ("g2", "7", "C", "b d f"),
        ("g2", "7 5", "C", "b d f"),
        ("g2", "8 7", "C", "g b f"),
        ("g2", "4", "C", "g c d"),
        ("c3", "9", "C", "d e g"),
        ("d3", "9 7", "C", "e f c"),
        ("g2", "9 4", "C", "a c d"),
        ("d3", "9 6", "C", "e f b"),
        ("c3", "7 4 2", "C", "d f b"),
        ("c3", "7 5 2", "C", "d g b"),
        ("g2", "7 5 4", "C", "c d f"),
        ("g2", "6 5 4", "C", "c d e"),
        ("c#3", "5", "d", "e g a"),
        ("d3", "6/", "C", "d f b#"),
        ("g#2", "6", "a", "b b e"),
        ("c3", "unis.", "C", "c c c"),
    ],
)
def test_a_figuring_is_completed_as_the_table_says(
    bass: str, figures: str, key: str, notes: str
) -> None:
    assert best(over(bass, figures, key)) == notes


def test_the_eighth_takes_the_accidental_of_its_bass() -> None:
    assert str(over("f#3", "8").name(1)) == "f#"


def test_a_stroke_raises_the_note_of_the_signature() -> None:
    assert str(over("eb3", "6/", "Bb").name(6)) == "c#"
    assert str(over("f3", "4+", "Bb").name(4)) == "b"


def test_a_struck_five_may_mean_the_diminished_fifth() -> None:
    old = sonority(Pitch.parse("e3"), Figuring.parse("5/"), Key.parse("C"), None, True)
    assert str(old.name(5)) == "bb"
    assert str(over("e3", "5/").name(5)) == "b#"


def test_the_melodys_accidental_governs_the_voices_that_double_it() -> None:
    assert str(over("d3", "", "C", melody="f#5").name(3)) == "f#"
    assert str(over("d3", "", "C", melody="a4").name(3)) == "f"


def test_an_accidental_in_the_figuring_outweighs_the_melody() -> None:
    assert str(over("d3", "n", "G", melody="f#5").name(3)) == "f"


def test_the_melodys_accidental_governs_a_figure_written_without_one() -> None:
    """6 over e under c sharp: a c natural in the middle would sound against the melody."""
    found = over("e3", "6", "C", melody="c#5")
    assert str(found.name(6)) == "c#"
    assert found.by_number[6].bold
    assert str(over("e3", "n6", "C", melody="c#5").name(6)) == "c"


def test_under_a_nine_the_third_sounds() -> None:
    assert [m.number for m in over("g2", "9").members if m.bold] == [2, 3]
    assert [m.number for m in over("g2", "9 4").members if m.bold] == [2, 4]


def test_a_raised_four_has_its_second() -> None:
    """Without the 2 it would be a 6 4."""
    assert all(2 in numbers for numbers in over("f3", "4+", "F").completions)


def test_a_diminished_triad_takes_the_sixth_as_an_addition_though_nothing_is_written() -> None:
    assert [str(m.name) for m in over("b2", "").additions] == ["g", "a"]
    assert [str(m.name) for m in over("c3", "").additions] == ["b"]


def test_the_seventh_of_the_dominant_under_a_four_is_a_dissonance_the_leading_tone_is_not() -> None:
    assert over("g2", "7 4").by_number[7].treatment == "chord"
    assert over("c3", "7 4").by_number[7].treatment is None


@pytest.mark.parametrize(
    ("figures", "dissonant"),
    [("8 6 5", "5"), ("9 6 5", "2 5"), ("8 4 3", "3"), ("8 7 5", "7"), ("10 8", "")],
)
def test_the_dissonance_of_an_unlisted_stack_is_found_by_analogy(
    figures: str, dissonant: str
) -> None:
    found = [str(m.number) for m in over("d3", figures).members if m.dissonant]
    assert " ".join(found) == dissonant


def test_a_leading_tone_is_never_doubled_in_a_completion() -> None:
    found = over("b2", "6")
    assert all(1 not in numbers for numbers in found.completions)


def test_the_dissonance_is_never_doubled_in_a_completion() -> None:
    for figures in ("7", "4", "9", "6 5", "4 3"):
        found = over("g2", figures)
        single = {m.number for m in found.members if m.dissonant}
        assert single
        for numbers in found.completions:
            assert all(numbers.count(number) <= 1 for number in single)


def test_a_melody_outside_the_figuring_stands_for_the_note_it_leans_on() -> None:
    found = over("c3", "", melody="f5")
    assert all(4 in numbers for numbers in found.completions)
    assert not found.by_number[3].bold


@pytest.mark.parametrize("figures", ["5 b5", "# 3", "9 2", "#8", "7 6 5 4", "4 3 2 6"])
def test_a_contradiction_is_an_error(figures: str) -> None:
    with pytest.raises(FigureError):
        over("c3", figures)


@pytest.mark.parametrize(
    ("figures", "notes"),
    [("8 4 2", "c d f"), ("10 8", "c e g"), ("8 6 5", "c g a"), ("11", "c f g")],
)
def test_an_unlisted_stack_sounds_what_is_written(figures: str, notes: str) -> None:
    assert best(over("c3", figures)) == notes


def test_a_key_is_spelled_as_the_chord_has_it() -> None:
    assert str(over("e3", "#", "a").spell(68)) == "g#4"
    assert str(over("bb2", "b", "Bb").spell(61)) == "db4"
    assert str(over("c3", "", "C").spell(66)) == "f#4"


def test_a_sounding_interval_is_labelled_as_a_figure() -> None:
    found = over("c3", "7")
    assert [found.label(Pitch.parse(p)) for p in ("e4", "bb4", "f#4", "c4", "d5", "c3")] == [
        "3",
        "b7",
        "#4",
        "8",
        "2",
        "1",
    ]
    assert over("c3", "9").label(Pitch.parse("d5")) == "9"


@pytest.mark.parametrize(
    ("bass", "figures", "key", "must"),
    [
        ("d3", "6 4 3", "C", "b f g"),  # what is written binds, whatever it only completes
        ("d3", "6/ 4 3", "C", "b# f g"),
        ("d3", "#6 4 3", "a", "b# f g"),
        ("d3", "4 3", "C", "f g"),  # the 6 is only implied
        ("f3", "6 4 2", "C", "b d g"),
        ("f3", "4 2", "C", "b g"),
        ("c3", "7 4 2", "C", "b d f"),
        ("c3", "#5", "C", "e g#"),  # altered
        ("c3", "b5", "C", "e gb"),
        ("e3", "n5", "C", "g"),  # as in the key: may only cancel what went before
        ("c3", "5", "C", "e"),
        ("g2", "8 7", "C", "b f"),
        ("g2", "8 6 4", "C", "c e"),
        ("d3", "9 5", "C", "e f"),
        ("g2", "9 7 4", "C", "a c f"),
    ],
)
def test_what_is_written_must_sound(bass: str, figures: str, key: str, must: str) -> None:
    """Common practice, no source: all but a fifth or an octave that only cancels."""
    found = over(bass, figures, key)
    assert " ".join(sorted(str(m.name) for m in found.members if m.bold)) == must
    wanted = {m.number for m in found.members if m.bold}
    assert all(wanted <= set(numbers) for numbers in found.completions)
