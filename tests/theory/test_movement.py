"""Movement from one voicing to the next, and position: which rule, which voices, which notes."""

from __future__ import annotations

from fractions import Fraction

import pytest

from trainer.theory.fault import Finding
from trainer.theory.hands import Hands
from trainer.theory.movement import movement_faults, position, succession
from trainer.theory.voicing import Sounding, VoiceName, Voicing


def line(finding: Finding) -> str:
    """`rule: voices: pitches`."""
    pitches = " ".join(map(str, finding.pitches))
    return f"{finding.rule}: {' '.join(finding.voices)}: {pitches}"


def moving(before: str, after: str, *given: VoiceName, closing: bool = False) -> list[str]:
    """What is found from one voicing, bass first, to the next."""
    found = succession(
        Voicing.parse(before), Voicing.parse(after), (3, 4), frozenset(given), closing=closing
    )
    lines = list(found)
    assert all(one.soundings == (3, 4) for one in lines)
    return [line(one) for one in lines]


def standing(chord: str, *given: VoiceName, hands: Hands = "1+3") -> list[str]:
    """What is found in one voicing."""
    found = list(position(Voicing.parse(chord), 7, hands, frozenset(given)))
    assert all(one.soundings == (7,) for one in found)
    return [line(one) for one in found]


# ── consecutives ─────────────────────────────────────────────────────────────────────────────


def test_a_good_succession_has_no_fault() -> None:
    assert moving("c3 e4 g4 c5", "g2 d4 g4 b4") == []
    assert moving("c3 e4 g4 c5", "c3 e4 g4 c5") == []


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        ("c3 e4 g4 c5", "d3 f4 a4 d5", "consecutive-octaves: soprano bass: c5 c3 d5 d3"),
        ("c3 e4 g4 c5", "d3 f4 a4 d5", "consecutive-fifths: alto bass: g4 c3 a4 d3"),
        ("c3 g4 g4 c5", "f3 f4 f4 a4", "consecutive-unisons: alto tenor: g4 g4 f4 f4"),
        ("c3 g3 g4 c5", "f3 f3 f4 a4", "consecutive-octaves: alto tenor: g4 g3 f4 f3"),
        ("c3 f4 f4 c5", "c3 d3 d4 b4", "consecutive-octaves: alto tenor: f4 f4 d4 d3"),
        ("c3 f3 f4 c5", "c3 d4 d4 b4", None),  # from the octave to the unison by contrary motion
        ("c3 e4 a4 c5", "c3 a3 e4 e5", None),
    ],
)
def test_voices_that_keep_an_octave_or_fifth_are_named(
    before: str, after: str, found: str | None
) -> None:
    heard = moving(before, after)
    if found is None:
        assert not [one for one in heard if one.startswith("consecutive-")]
    else:
        assert found in heard


def test_octaves_are_unisons_only_where_both_are() -> None:
    """From a unison to an octave, and from an octave to a unison, both voices rising."""
    assert "consecutive-octaves: alto tenor: c4 c4 d5 d4" in moving("c3 c4 c4 e4", "g2 d4 d5 g5")
    assert "consecutive-octaves: alto tenor: c4 c3 d4 d4" in moving("c2 c3 c4 e4", "g2 d4 d4 g4")


def test_the_octave_between_given_voices_is_not_the_players() -> None:
    chords = ("c3 e4 a4 c5", "d3 f4 g4 d5")
    octave = "consecutive-octaves: soprano bass: c5 c3 d5 d3"
    assert octave in moving(*chords)
    assert octave in moving(*chords, "bass")
    assert octave not in moving(*chords, "bass", "soprano")


def test_a_fifth_reached_again_by_contrary_motion_is_free_into_the_last_chord() -> None:
    chords = ("g3 b3 d4 d5", "c3 c4 e4 g5")
    found = "consecutives-by-contrary-motion: soprano bass: d5 g3 g5 c3"
    assert found in moving(*chords)
    assert found not in moving(*chords, closing=True)
    anywhere = succession(*map(Voicing.parse, chords), (3, 4))
    assert found in map(line, anywhere)


def test_only_with_the_bass_are_unequal_fifths_told() -> None:
    assert "unequal-fifths: soprano bass: f4 b2 g4 c3" in moving("b2 d4 d4 f4", "c3 e4 e4 g4")
    assert "unequal-fifths: alto bass: f4 b2 g4 c3" in moving("b2 d4 f4 b4", "c3 e4 g4 c5")
    upper = moving("d3 b3 f4 b4", "c3 c4 g4 c5")
    assert not [one for one in upper if one.startswith("unequal")]


def test_hidden_octaves_and_fifths_are_told_of_the_outer_voices_alone() -> None:
    assert "hidden-octave: soprano bass: g4 g2 c5 c3" not in moving("g2 b3 d4 g4", "c3 c4 e4 c5")
    assert "hidden-octave: soprano bass: g4 e2 c5 c3" in moving("e2 b3 e4 g4", "c3 c4 e4 c5")
    assert "hidden-fifth: soprano bass: c4 a2 g4 c3" in moving("a2 a3 a3 c4", "c3 c4 e4 g4")
    middle = moving("e2 g3 e4 b4", "c3 c4 g4 c5")  # tenor and alto leap into octave and fifth
    assert not [one for one in middle if one.startswith("hidden")]


def test_a_voice_that_rests_or_stays_moves_with_nobody() -> None:
    assert moving("c3 - g4 c5", "d3 - - d5") == ["consecutive-octaves: soprano bass: c5 c3 d5 d3"]
    assert moving("- e4 g4 c5", "d3 f4 g4 d5") == []
    assert moving("c3 e4 g4 -", "d3 f4 g4 d5") == []


# ── overlap, steps and leaps ─────────────────────────────────────────────────────────────────


def test_a_voice_that_passes_where_its_neighbour_was_overlaps_it() -> None:
    rising = moving("c3 e4 g4 c5", "f3 a4 c5 f5")
    assert "overlap: alto tenor: g4 e4 c5 a4" in rising
    assert "overlap: soprano alto: c5 g4 f5 c5" not in rising  # onto the key where it was
    assert not [one for one in moving("c3 e4 g4 c5", "c3 g4 c5 e5") if "alto tenor" in one]
    assert "overlap: alto tenor: g4 e4 d4 c4" in moving("c3 e4 g4 b4", "g2 c4 d4 b4")
    assert "overlap: tenor bass: c4 a3 b3 c4" not in moving("a3 c4 e4 a4", "c4 b3 e4 a4")


def test_an_overlap_of_given_voices_is_not_the_players() -> None:
    chords = ("c3 e4 g4 c5", "c3 e4 e5 g5")
    assert "overlap: soprano alto: c5 g4 g5 e5" in moving(*chords, "soprano")
    assert "overlap: soprano alto: c5 g4 g5 e5" not in moving(*chords, "soprano", "alto")


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        ("d3 f4 a4 d5", "e3 g#4 b4 e5", "augmented-step: tenor: f4 g#4"),
        ("f3 a4 c5 f5", "f3 a4 c5 b5", "augmented-step: soprano: f5 b5"),
        ("c3 c4 e4 g4", "c3 a4 e4 g4", "leap-in-middle-voice: tenor: c4 a4"),
        ("c3 c4 e4 g4", "c3 c4 c5 g5", "leap-in-middle-voice: alto: e4 c5"),
    ],
)
def test_a_step_or_leap_that_cannot_be_sung_is_named_with_its_voice(
    before: str, after: str, found: str
) -> None:
    heard = moving(before, after)
    assert found in heard
    voice = found.split(": ")[1]
    assert found not in moving(before, after, voice)  # type: ignore[arg-type]


def test_soprano_and_bass_may_leap() -> None:
    found = moving("c3 e4 g4 c5", "c2 e4 g4 a5") + moving("c3 e4 g4 c5", "a3 e4 g4 c5")
    assert not [one for one in found if one.startswith("leap")]
    assert not [one for one in moving("c3 c4 e4 g4", "c3 g4 e4 g4") if one.startswith("leap")]


# ── false relations ──────────────────────────────────────────────────────────────────────────


def relations(before: str, after: str, *given: VoiceName) -> list[str]:
    return [one for one in moving(before, after, *given) if one.startswith("false-relation")]


def test_a_letter_changed_in_another_voice_is_a_false_relation() -> None:
    assert relations("c3 e4 g4 c5", "a2 e4 a4 c#5") == []  # the soprano changes it itself
    assert relations("c3 e4 g4 e5", "a2 c#4 a4 e5") == ["false-relation: bass tenor: c3 c#4"]


def test_a_note_that_another_voice_takes_over_unchanged_is_none() -> None:
    assert relations("c3 e4 g4 c5", "a2 c4 a4 e5") == []


def test_a_letter_that_nobody_had_is_none() -> None:
    assert relations("c3 e4 g4 c5", "d3 d4 a4 f#5") == []


def test_where_one_of_two_voices_makes_the_change_it_is_made() -> None:
    """c in the bass and the soprano: the soprano goes to c sharp itself, the tenor doubles it."""
    assert relations("c3 e4 g4 c5", "a2 c#4 a4 c#5") == []


def test_the_highest_voice_that_had_the_letter_is_named() -> None:
    assert relations("f3 a3 f4 c5", "d3 d4 a4 f#5") == ["false-relation: alto soprano: f4 f#5"]


def test_a_voice_that_rests_stands_in_no_relation() -> None:
    assert relations("c3 - g4 e5", "- c#4 - e5") == ["false-relation: bass tenor: c3 c#4"]
    assert relations("- e4 g4 e5", "a2 c#4 a4 e5") == []
    assert relations("c3 c4 g4 e5", "a2 - c#5 e5") == ["false-relation: tenor alto: c4 c#5"]


def test_a_false_relation_of_given_voices_hides_no_other() -> None:
    """Bass and soprano are given: c against c sharp; tenor and alto make f against f sharp."""
    chords = ("c3 f3 a3 e5", "a2 d3 f#4 c#5")
    assert relations(*chords) == ["false-relation: bass soprano: c3 c#5"]
    assert relations(*chords, "bass", "soprano") == ["false-relation: tenor alto: f3 f#4"]
    assert relations(*chords, "bass") == ["false-relation: bass soprano: c3 c#5"]


# ── position ─────────────────────────────────────────────────────────────────────────────────


def test_a_plain_chord_stands_well() -> None:
    assert standing("c3 e4 g4 c5") == []
    assert standing("c3 c4 c4 c5", hands="2+2") == []
    assert standing("- - - -") == []


@pytest.mark.parametrize(
    ("chord", "found"),
    [
        ("c3 g4 e4 c5", ["crossing: alto tenor: e4 g4"]),
        ("c3 e4 g4 f4", ["crossing: soprano alto: f4 g4"]),
        ("g4 e4 g4 c5", ["crossing: tenor bass: e4 g4"]),
        (
            "c3 c4 c4 c#5",
            [
                "spacing: soprano alto: c#5 c4",
            ],
        ),
        ("c3 c4 c4 c5", []),
        ("c3 e3 f4 c5", ["spacing: alto tenor: f4 e3"]),
        ("c2 e4 g4 c5", []),  # between bass and tenor there may be any distance
    ],
)
def test_neighbours_stand_in_order_and_no_further_than_an_octave_apart(
    chord: str, found: list[str]
) -> None:
    assert standing(chord, hands="2+2") == found


def test_crossed_or_wide_neighbours_that_are_given_are_not_the_players() -> None:
    assert standing("g4 e4 g4 c5", "tenor", "bass") == []
    assert standing("g4 e4 g4 c5", "bass") == ["crossing: tenor bass: e4 g4"]


def test_a_neighbour_that_rests_is_neither_crossed_nor_far() -> None:
    assert standing("c3 e4 - e5", hands="2+2") == []
    assert standing("c3 - f3 -", hands="2+2") == []
    assert standing("- e4 g4 c5") == []


def test_three_voices_of_one_hand_span_an_octave() -> None:
    assert standing("c3 c4 g4 c5") == []
    assert standing("c3 c4 g4 d5") == ["spacing: soprano tenor: d5 c4"]
    assert standing("c3 c4 g4 d5", hands="2+2") == []
    assert standing("c3 c4 e4 f5") == ["spacing: soprano alto: f5 e4"]  # told once
    assert standing("c3 c4 d5 f5") == ["spacing: alto tenor: d5 c4"]
    assert standing("c3 - c4 c5") == []
    assert standing("c3 c4 g4 -") == []
    assert standing("c3 c4 - d5") == []  # without an alto there are two voices
    assert standing("c3 - - -") == []


@pytest.mark.parametrize(
    ("chord", "found"),
    [
        ("c2 b2 g3 b3", ["too-low: tenor: b2"]),
        ("c2 c3 g3 c4", []),
        ("c2 a2 b2 g3", ["too-low: alto: b2"]),  # the highest that is too low, and that once
        ("c2 e2 a2 b2", ["too-low: soprano: b2"]),
        ("- b2 g3 b3", ["too-low: tenor: b2"]),
        ("c2 - g3 b3", []),
    ],
)
def test_upper_voices_below_small_c_are_too_low(chord: str, found: list[str]) -> None:
    assert standing(chord, hands="2+2") == found


def test_a_given_voice_may_lie_low_but_not_close_to_a_low_bass() -> None:
    assert standing("c2 b2 g3 b3", "tenor") == []
    assert standing("g2 b2 g3 b3", "tenor") == ["too-low: tenor bass: b2 g2"]
    assert standing("- b2 g3 b3", "tenor") == []
    assert standing("g2 - g3 b3", "tenor") == []


def test_a_free_soprano_stays_below_the_ledger_lines_and_a_given_one_need_not() -> None:
    assert standing("c3 f4 c5 f5") == []
    assert standing("c3 f#4 c5 f#5") == ["too-high: soprano: f#5"]
    assert standing("c3 f#4 c5 f#5", "soprano") == []
    assert standing("c3 e4 g4 -") == []


# ── a row of soundings ───────────────────────────────────────────────────────────────────────


def row(*chords: str) -> list[Sounding]:
    return [
        Sounding(Fraction(place), place, Voicing.parse(chord), frozenset())
        for place, chord in enumerate(chords)
    ]


def test_every_succession_of_a_row_is_looked_at_in_order() -> None:
    found = movement_faults(row("c3 g3 c4 e4", "d3 a3 d4 f4", "d3 a3 d4 f4", "e3 b3 e4 g4"))
    assert {one.soundings for one in found} == {(0, 1), (2, 3)}
    assert found[0].soundings == (0, 1)
    assert movement_faults(row("c3 g3 c4 e4")) == ()
    assert movement_faults(()) == ()


def test_contrary_motion_is_free_into_the_last_chord_and_no_other() -> None:
    chords = row("g3 b3 d4 d5", "c3 c4 e4 g5", "g3 b3 d4 d5", "c3 c4 e4 g5")

    def contrary(last_chord: int | None) -> list[tuple[int, ...]]:
        return [
            one.soundings
            for one in movement_faults(chords, last_chord=last_chord)
            if one.rule == "consecutives-by-contrary-motion" and "soprano" in one.voices
        ]

    assert contrary(None) == [(0, 1), (1, 2), (2, 3)]
    assert contrary(3) == [(0, 1), (1, 2)]
    assert contrary(1) == [(1, 2), (2, 3)]


def test_what_given_voices_do_among_themselves_is_left_out_of_a_row() -> None:
    chords = row("c3 e4 a4 c5", "d3 f4 g4 d5")
    assert "consecutive-octaves" in [one.rule for one in movement_faults(chords)]
    both: frozenset[VoiceName] = frozenset({"bass", "soprano"})
    assert "consecutive-octaves" not in [one.rule for one in movement_faults(chords, both)]


@pytest.mark.parametrize(
    ("before", "after", "in_one_hand", "in_two"),
    [
        ("c3 e3 g3 c4", "g2 b3 d4 g4", 0, 2),  # the right hand changes its position
        ("c3 e4 g4 c5", "c3 c4 e4 g4", 0, 0),  # down by one place: none passes another's
        ("c3 e4 g4 c5", "c3 g3 c4 e4", 0, 2),
        ("c3 e3 g3 c4", "f3 f3 a3 c4", 1, 1),  # the bass passes where the tenor was
    ],
)
def test_lines_are_heard_in_two_hands_of_two_voices_and_not_in_one_of_three(
    before: str, after: str, in_one_hand: int, in_two: int
) -> None:
    """Common practice, no source."""
    for hands, count in (("1+3", in_one_hand), ("2+2", in_two)):
        found = succession(Voicing.parse(before), Voicing.parse(after), (0, 1), hands=hands)  # type: ignore[arg-type]
        assert [one.rule for one in found].count("overlap") == count, hands
