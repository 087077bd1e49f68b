"""Preparation, resolution, leading tones, doubling: one musical fact each (common practice)."""

from __future__ import annotations

from tests.judging.lessons import marked, rules_broken


def broken(key: str, figures: str, *chords: str, melody: bool = False) -> list[str]:
    return rules_broken(marked(key, figures, *chords, melody=melody))


def test_a_prepared_four_that_steps_down_is_right() -> None:
    found = broken("C", ",4,3", "c3 e4 g4 c5", "g2 d4 g4 c5", "g2 d4 g4 b4")
    assert "unprepared-suspension" not in found
    assert "unresolved-dissonance" not in found


def test_a_four_that_was_in_another_voice_is_not_prepared() -> None:
    found = broken("C", ",4,3", "c3 g3 c4 e4", "g2 g3 d4 c5", "g2 g3 d4 b4")
    assert "unprepared-suspension" in found


def test_a_four_that_rises_is_not_resolved() -> None:
    found = broken("C", ",4,3", "c3 e4 g4 c5", "g2 d4 g4 c5", "g2 b3 g4 d5")
    assert "unresolved-dissonance" in found


def test_a_seven_before_six_is_a_suspension_and_needs_preparation() -> None:
    assert "unprepared-suspension" in broken(
        "C", "6,7,6", "e3 c4 g4 c5", "d3 f3 a3 c4", "d3 f3 a3 b3"
    )


def test_a_seventh_on_the_dominant_enters_freely() -> None:
    found = broken("C", ",7", "c3 e4 g4 c5", "g2 f4 g4 b4")
    assert "dissonance-by-leap" not in found
    assert "unprepared-suspension" not in found


def test_a_seventh_whose_next_chord_has_nowhere_to_go_is_let_off() -> None:
    """g7 to d5 3: there is no e below the f, and f itself stays."""
    assert "unresolved-dissonance" not in broken("C", "7,", "g2 f3 b3 d4", "d3 f3 a3 d4")


def test_a_seventh_may_change_voices_over_the_same_chord() -> None:
    found = broken("C", "7,6 5,", "g2 b3 d4 f4", "b2 f3 g3 d4", "c3 e3 g3 c4")
    assert "unresolved-dissonance" not in found


def test_a_seventh_goes_up_when_the_bass_takes_its_resolution() -> None:
    found = broken("C", "7,6", "g2 b3 d4 f4", "e3 c4 c4 g4")
    assert found.count("delayed-resolution") == 1
    assert "unresolved-dissonance" not in found


def test_six_four_goes_on_to_five_three_over_its_bass() -> None:
    right = broken("C", ",6 4,", "f3 a3 c4 f4", "g3 g3 c4 e4", "g3 g3 b3 d4")
    assert "unresolved-dissonance" not in right
    wrong = broken("C", ",6 4,", "f3 a3 c4 f4", "g3 g3 c4 e4", "g3 b3 d4 g4")
    assert "unresolved-dissonance" in wrong


def test_an_inner_leading_tone_may_fall_a_third() -> None:
    assert "leading-tone-astray" not in broken("C", ",", "g2 b3 d4 g4", "c3 g3 e4 g4")


def test_an_outer_leading_tone_may_not() -> None:
    assert "leading-tone-astray" in broken("C", ",", "g2 d4 g4 b4", "c3 e4 g4 g4")


def test_the_seventh_degree_leads_nowhere_in_the_mediant() -> None:
    """e g b in C: the b is a fifth, not a leading tone."""
    assert "doubled-leading-tone" not in broken("C", "", "e3 b3 g4 b4")


def test_the_raised_seventh_of_minor_is_a_leading_tone() -> None:
    assert "doubled-leading-tone" in broken("a", "#", "e3 g#3 b3 g#4")


def test_two_voices_on_one_key_double_too() -> None:
    assert "doubled-leading-tone" in broken("C", "", "g2 d4 b4 b4")


def test_what_outer_voices_double_is_the_exercises_affair() -> None:
    assert "doubled-leading-tone" not in broken("C", "6", "b2 d4 g4 b4", melody=True)


def test_repeated_fifths_are_not_consecutive() -> None:
    assert "consecutive-fifths" not in broken("C", ",", "c3 g3 c4 e4", "c3 g3 c4 e4")


def test_fifths_the_other_way_unequal_are_free() -> None:
    """Perfect to diminished with the bass."""
    found = broken("C", ",6", "c3 g3 c4 e4", "b2 g3 d4 d4")
    assert "unequal-fifths" not in found


def test_an_augmented_second_is_not_a_minor_third() -> None:
    """f to g# and f to a flat lie on the same keys."""
    assert "augmented-step" in broken("a", "6,#", "f3 d4 f4 a4", "e3 b3 g#4 b4")
    assert "augmented-step" not in broken("c", "6,6", "ab2 f3 c4 f4", "c3 ab3 c4 ab4")


def test_a_diminished_fourth_is_no_augmented_step() -> None:
    assert "augmented-step" not in broken("a", "#,", "e3 b3 e4 g#4", "a3 c4 e4 c5")


def test_one_letter_changed_in_its_own_voice_is_no_false_relation() -> None:
    assert "false-relation" not in broken("C", ",#", "f3 a3 c4 f4", "d3 a3 d4 f#4")


def test_an_augmented_fourth_over_the_bass_opens() -> None:
    """4 2 with a raised 4: f sharp over c goes to g over b."""
    right = broken("C", "#4 2,6", "c3 a3 d4 f#4", "b2 g3 d4 g4")
    assert "tritone-astray" not in right
    assert "tritone-astray" in broken("C", "#4 2,6", "c3 a3 d4 f#4", "b2 g3 d4 d4")


def test_an_inner_augmented_fourth_may_fall_a_third() -> None:
    assert "tritone-astray" not in broken("C", "#4 2,6", "c3 f#3 a3 d4", "b2 d3 g3 d4")


def test_the_leading_tone_over_the_fourth_degree_is_told_once() -> None:
    found = broken("C", "4 2,6", "f3 g3 d4 b4", "e3 g3 c4 g4")
    assert found.count("leading-tone-astray") == 1
    assert "tritone-astray" not in found


def test_all_unisono_asks_for_octaves() -> None:
    found = broken("C", "unis.,unis.", "c3 c4 c5 c5", "d3 d4 d5 d5")
    assert found == []


def test_tasto_solo_wants_the_bass_alone() -> None:
    assert "foreign-note" in broken("C", "t.s.", "c3 e4 g4 c5")


def test_under_an_extender_line_the_chord_stays() -> None:
    assert "missing-third" not in broken("C", ",_", "c3 e4 g4 c5", "d3 e4 g4 c5")
    assert "foreign-note" in broken("C", ",_", "c3 e4 g4 c5", "d3 f4 a4 d5")
