"""From written staves to four voices: who sings, from when, and what is struck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from trainer.errors import ExerciseError
from trainer.judging.written_voices import written_soundings
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Sounding, Voicing


@dataclass(frozen=True)
class Event:
    onset: Fraction
    end: Fraction
    pitches: tuple[Pitch, ...]
    tied: tuple[bool, ...]


def line(music: str, begin: float = 0) -> tuple[Event, ...]:
    """Quarter notes from `begin` on: `c4+e4` a chord, `~c4` led into by a tie, `-` a rest, `.` a
    hole where the line has nothing written."""
    events = []
    for place, word in enumerate(music.split()):
        if word == ".":
            continue
        onset = Fraction(begin) + place
        words = [] if word == "-" else word.split("+")
        pitches = tuple(Pitch.parse(one.removeprefix("~")) for one in words)
        events.append(Event(onset, onset + 1, pitches, tuple(one[0] == "~" for one in words)))
    return tuple(events)


class Listening:
    """Stands for a judge whose moments are at these onsets; the price of every step is given."""

    def __init__(self, moments: Sequence[float] = (0, 1, 2, 3), price: Any = None) -> None:
        self.moments = [SimpleNamespace(onset=Fraction(onset)) for onset in moments]
        self.price = price or (lambda before, after: 0)
        self.asked: list[tuple[int | None, int]] = []

    def cost(self, first: int | None, second: int, before: Voicing | None, after: Voicing) -> int:
        self.asked.append((first, second))
        return int(self.price(before, after))


def soundings(*lines: tuple[Event, ...], judge: Listening | None = None) -> tuple[Sounding, ...]:
    return written_soundings(judge or Listening(), lines)  # type: ignore[arg-type]


def heard(*lines: tuple[Event, ...], judge: Listening | None = None) -> list[str]:
    return [str(one.voicing) for one in soundings(*lines, judge=judge)]


# ── four lines of single notes ───────────────────────────────────────────────────────────────


def test_four_lines_are_the_four_voices_from_the_highest_to_the_lowest_however_written() -> None:
    lines = (line("g3 f3"), line("c3 d3"), line("c5 b4"), line("e4 d4"))
    assert heard(*lines) == ["c3 g3 e4 c5", "d3 f3 d4 b4"]


def test_a_voice_is_high_by_its_mean_and_not_by_how_much_it_sings() -> None:
    long = (Event(Fraction(0), Fraction(4), (Pitch.parse("c5"),), (False,)),)
    found = heard(long, line("g4 g4 g4 g4"), line("e4 e4 e4 e4"), line("c3 c3 c3 c3"))
    assert found == ["c3 e4 g4 c5"] * 4


def test_a_line_of_nothing_but_rests_is_no_voice() -> None:
    four = (line("c5"), line("g4"), line("e4"), line("c3"))
    assert heard(*four, line("-")) == ["c3 e4 g4 c5"]
    three = heard(line("c5 c5"), line("-"), line("e4 e4"), line("c3 c3"))
    assert three == heard(line("c5 c5"), line("e4 e4"), line("c3 c3"))


def test_a_rest_is_heard_as_one_and_begins_something_new() -> None:
    found = soundings(line("c5 c5"), line("g4 -"), line("e4 e4"), line("c3 c3"))
    assert [str(one.voicing) for one in found] == ["c3 e4 g4 c5", "c3 e4 - c5"]
    held = (Event(Fraction(0), Fraction(2), (Pitch.parse("c5"),), (False,)),)
    half = [
        (Event(Fraction(0), Fraction(2), (Pitch.parse(name),), (False,)),) for name in ("g4", "c3")
    ]
    assert heard(held, half[0], line("e4 -"), half[1]) == ["c3 e4 g4 c5", "c3 - g4 c5"]


def test_a_line_that_enters_later_or_has_a_hole_is_silent_there() -> None:
    late = heard(line("c5 c5 c5"), line("g4", begin=1), line("e4 e4 e4"), line("c3 c3 c3"))
    assert late == ["c3 e4 - c5", "c3 e4 g4 c5", "c3 e4 - c5"]
    hole = heard(line("c5 c5 c5"), line("g4 . g4"), line("e4 e4 e4"), line("c3 c3 c3"))
    assert hole == ["c3 e4 g4 c5", "c3 e4 - c5", "c3 e4 g4 c5"]


def test_a_tied_note_is_not_struck_again_and_begins_nothing() -> None:
    found = soundings(line("c5 ~c5"), line("g4 f4"), line("e4 ~e4"), line("c3 ~c3"))
    assert [sorted(one.struck) for one in found] == [["alto", "bass", "soprano", "tenor"], ["alto"]]
    all_tied = soundings(line("c5 ~c5"), line("g4 ~g4"), line("e4 ~e4"), line("c3 ~c3"))
    assert [one.onset for one in all_tied] == [0]


def test_a_voice_that_goes_on_sounding_is_not_struck_where_another_moves() -> None:
    long = (Event(Fraction(0), Fraction(2), (Pitch.parse("c5"),), (False,)),)
    found = soundings(long, line("g4 a4"), line("e4 f4"), line("c3 ~c3"))
    assert sorted(found[1].struck) == ["alto", "tenor"]
    assert found[1].voicing.soprano == Pitch.parse("c5")


# ── which moment ─────────────────────────────────────────────────────────────────────────────


def test_what_sounds_belongs_to_the_last_moment_at_or_before_it() -> None:
    judge = Listening(moments=(0, 2))
    four = [line(f"{note} {note} {note} {note}") for note in ("c5", "g4", "e4", "c3")]
    assert [one.moment for one in soundings(*four, judge=judge)] == [0, 0, 1, 1]


def test_what_is_written_before_the_first_moment_belongs_to_it() -> None:
    four = [line(f"{note} {note}", begin=-1) for note in ("c5", "g4", "e4", "c3")]
    assert [one.moment for one in soundings(*four)] == [0, 0]


# ── chords and shared staves ─────────────────────────────────────────────────────────────────


def test_chords_are_taken_apart_as_keys_are() -> None:
    assert heard(line("e4+g4+c5 d4+f4+b4"), line("c3 g2")) == ["c3 e4 g4 c5", "g2 d4 f4 b4"]


def test_three_single_lines_are_chords_of_three() -> None:
    assert heard(line("c5"), line("e4"), line("c3"))[0].startswith("c3 e4")


def test_four_lines_with_a_chord_in_one_are_taken_apart_together() -> None:
    found = heard(line("c5"), line("g4"), line("e4+c4"), line("c3"))
    assert found == ["c3 c4 e4 c5"]


def test_five_single_lines_are_taken_apart_together() -> None:
    assert len(heard(line("c5"), line("g4"), line("e4"), line("c4"), line("c3"))) == 1


def test_a_part_that_has_nothing_written_leaves_the_others_sounding() -> None:
    assert heard(line("e4+g4+c5 ."), line("c3 c3"))[0] == "c3 e4 g4 c5"
    assert len(heard(line("g4+c5 d5+g5"), line("e4 ."), line("c3 c3"))) == 2


def test_one_note_written_in_two_parts_is_one_key() -> None:
    assert heard(line("e4+g4"), line("g4+c5"), line("c3")) == ["c3 e4 g4 c5"]


def test_of_notes_on_one_key_the_one_written_lower_comes_first() -> None:
    found = heard(line("ab4+g#4+c5"), line("c3"))
    assert found == ["c3 g#4 ab4 c5"]


def test_a_chord_with_one_new_note_begins_something_new_and_only_that_is_struck() -> None:
    found = soundings(line("e4+g4+c5 ~e4+~g4+b4"), line("c3 ~c3"))
    assert [str(one.voicing) for one in found] == ["c3 e4 g4 c5", "c3 e4 g4 b4"]
    assert found[1].struck == {"soprano"}
    nothing_new = soundings(line("e4+g4+c5 ~e4+~g4+~c5"), line("c3 ~c3"))
    assert len(nothing_new) == 1


def test_a_silence_among_chords_is_no_voice_at_all() -> None:
    assert heard(line("e4+g4+c5 -"), line("c3 -")) == ["c3 e4 g4 c5", "- - - -"]


@pytest.mark.parametrize(
    ("upper", "enough"),
    [
        ("c5 c5 c5", False),
        ("e4+c5 c5 c5", False),
        ("e4+c5 c5", True),  # half of them
        ("e4+c5 c5 e4+c5 c5", True),
        ("e4+c5 c5 c5 c5", False),
        ("e4+c5 e4+c5 c5", True),
        ("g4+e4+c5 g4+e4+c5", True),
    ],
)
def test_in_half_of_all_chords_three_notes_have_to_sound(upper: str, enough: bool) -> None:
    lines = line(upper), line(" ".join(["c3"] * len(upper.split())))
    if enough:
        assert len(heard(*lines)) == len(upper.split())
    else:
        with pytest.raises(ExerciseError, match="there are not four voices to be heard") as raised:
            heard(*lines)
        assert raised.value.remedy == "write the middle voices out, one to a part or as chords"


def test_nothing_but_rests_are_not_four_voices() -> None:
    with pytest.raises(ExerciseError, match="there are not four voices to be heard"):
        heard(line("- -"), line("- -"))


def test_the_division_with_the_fewest_faults_over_the_phrase_is_meant() -> None:
    """Each step is weighed between the moments it leads from and to."""

    def price(before: Voicing | None, after: Voicing) -> int:
        return 0 if before is None or before.alto == before.tenor == Pitch.parse("e4") else 1

    judge = Listening(moments=(0, 2), price=price)
    lines = line("e4+g4 e4+g4 d4+f4+b4"), line("c3 c3 g2")
    assert heard(*lines, judge=judge) == ["c3 e4 e4 g4", "c3 e4 e4 g4", "g2 d4 f4 b4"]
    assert set(judge.asked) == {(None, 0), (0, 0), (0, 1)}
    assert judge.asked[0] == (None, 0)
    assert judge.asked[-1] == (0, 1)


def test_what_is_divided_before_the_first_moment_is_weighed_as_the_first() -> None:
    judge = Listening()
    heard(line("e4+g4 e4+g4", begin=-1), line("c3 c3", begin=-1), judge=judge)
    assert set(judge.asked) == {(None, 0), (0, 0)}
