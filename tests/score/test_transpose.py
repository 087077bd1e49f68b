"""Transposition, one musical fact each: which way, which spelling, which key is easier."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from trainer.errors import ExerciseError, PitchError
from trainer.score.exercise import Exercise, Note
from trainer.score.kern import parse_exercise
from trainer.score.transpose import easier, easier_keys, moved, transposed
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Interval, Pitch


def small(key: str, signature: str, bass: str, figures: str) -> Exercise:
    lines = ["**kern\t**fb", f"*k[{signature}]\t*", f"*{key}:\t*", "*M4/4\t*", "*MM60\t*"]
    lines += ["=1\t=1", f"1{bass}\t{figures}", "==\t==", "*-\t*-", ""]
    return parse_exercise("\n".join(lines))


def voice(notes: str) -> tuple[Note, ...]:
    """Whole notes; `-` is a rest."""
    return tuple(
        Note(Fraction(4 * place), Fraction(4), None if word == "-" else Pitch.parse(word))
        for place, word in enumerate(notes.split())
    )


def piece(key: str, bass: str = "c3", figures: str = "", **voices: str) -> Exercise:
    """A piece of whole notes; `figures` are separated by commas, one to a whole note."""
    return Exercise(
        id="piece",
        title="Piece",
        bass=voice(bass),
        figures=tuple(
            (Fraction(4 * place), Figuring.parse(text))
            for place, text in enumerate(figures.split(","))
            if text
        ),
        keys=((Fraction(0), Key.parse(key)),),
        metres=((Fraction(0), Metre(4, 4)),),
        tempo=60,
        **{name: voice(notes) for name, notes in voices.items()},
    )


def written(notes: tuple[Note, ...]) -> str:
    return " ".join("-" if note.pitch is None else str(note.pitch) for note in notes)


# ── how far, and which way ───────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("key", "to", "bass"),
    [
        ("C major", "C", "c3"),
        ("C major", "D", "d3"),
        ("C major", "Db", "db3"),
        ("C major", "F", "f3"),
        ("C major", "G", "g2"),
        ("C major", "A", "a2"),
        ("C major", "B", "b2"),
        ("B major", "C", "db3"),  # the note c stays a second above the tonic's leading tone
        ("C# major", "Db", "dbb3"),
        ("Db major", "C#", "b#2"),
        ("Cb major", "B", "b#2"),
        ("B major", "Cb", "dbb3"),
        ("Cb major", "C#", "c##3"),
        ("C# major", "Cb", "cbb3"),
        # the tritone is as far up as down: towards the sharps is up
        ("C major", "F#", "f#3"),
        ("C major", "Gb", "gb2"),
        ("F major", "B", "f#3"),
        ("B major", "F", "gb2"),
    ],
)
def test_a_piece_goes_to_its_new_key_by_the_nearer_way(key: str, to: str, bass: str) -> None:
    assert written(transposed(piece(key), to).bass) == bass


def on_key(midi: int) -> str:
    """A white key or the sharp of the one below."""
    names = ("c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b")
    return f"{names[midi % 12]}{midi // 12 - 1}"


@pytest.mark.parametrize(
    ("name", "lowest", "highest"),
    [
        # common practice, no source: what amateur voices sing without strain, the tenor's a above
        # it and the soprano's small a; the bass is an instrument's, from great C to e'
        ("bass", "c2", "e4"),
        ("tenor", "a2", "a4"),
        ("alto", "d3", "f5"),
        ("melody", "a3", "a5"),
    ],
)
def test_a_voice_that_would_leave_its_compass_goes_the_other_way(
    name: str, lowest: str, highest: str
) -> None:
    top, bottom = Pitch.parse(highest).midi, Pitch.parse(lowest).midi

    def there(midi: int, to: str) -> int:
        voices = {"bass": "c3", name: on_key(midi)}
        pitch = getattr(transposed(piece("C major", **voices), to), name)[0].pitch
        return pitch.midi - midi

    assert there(top - 2, "D") == 2
    assert there(top - 1, "D") == -10
    assert there(bottom + 1, "B") == -1
    assert there(bottom, "B") == 11


def test_the_highest_and_the_lowest_note_of_a_voice_count() -> None:
    assert written(transposed(piece("C major", "c3 e4 g3"), "D").bass) == "d2 f#3 a2"
    assert written(transposed(piece("C major", "e3 c2 c3"), "B").bass) == "d#4 b2 b3"


def test_where_neither_way_keeps_the_compass_the_nearer_is_gone() -> None:
    assert written(transposed(piece("C major", "c2 e4"), "D").bass) == "d2 f#4"


def test_in_its_own_key_a_piece_stays_where_it_is_however_high() -> None:
    high = piece("C major", melody="c6")
    assert transposed(high, "C") == high
    sharp = piece("C# major", "c#3", melody="c#6")
    assert written(transposed(sharp, "Db").melody) == "db6"


def test_a_rest_has_no_compass() -> None:
    assert written(transposed(piece("C major", "c3 -", melody="- -"), "D").bass) == "d3 -"


def test_all_four_voices_keys_figures_and_words_move() -> None:
    here = replace(
        piece("C major", "c3 d3", ",#7", tenor="g3 -", alto="c4 b3", melody="e4 d4"),
        keys=((Fraction(0), Key.parse("C major")), (Fraction(4), Key.parse("d minor"))),
        commentary=("From {c} to {d}.",),
    )
    there = transposed(here, "Eb")
    assert written(there.bass) == "eb3 f3"
    assert written(there.tenor) == "bb3 -"
    assert written(there.alto) == "eb4 d4"
    assert written(there.melody) == "g4 f4"
    assert [(at, str(key)) for at, key in there.keys] == [(0, "Eb major"), (4, "f minor")]
    assert [(at, str(figuring)) for at, figuring in there.figures] == [(4, "n7")]
    assert there.commentary == ("From {eb} to {f}.",)
    assert there.id == here.id


# ── figures ──────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("key", "signature", "bass", "figures", "to", "there"),
    [
        ("e", "f#", "BB", "#", "d", "#"),  # b: d sharp -> a: c sharp
        ("e", "f#", "BB", "#", "c", "n"),  # -> g: b natural in three flats
        ("c", "b-e-a-", "GG", "n", "a", "#"),
        ("g", "b-e-", "D", "6 #", "f", "6 n"),
        ("C", "", "A", "6# 4 3", "F", "6n 4 3"),  # raised sixth b natural under one flat
        ("C", "", "F", "-7", "D", "n7"),
        ("C", "", "F", "-7", "B", "n7"),
        ("G", "f#", "A", "4+ 2", "E-", "4+ 2"),  # strokes stay
        ("G", "f#", "A", "6/ 5", "B-", "6/ 5"),
        ("a", "", "GG", "##5", "e", "##5"),
        ("C", "", "C", "--7", "D", "-7"),
        ("C", "", "C", "#9", "D-", "n9"),  # a ninth is spelled as a second
        ("C", "", "C", "-10", "A", "n10"),
        ("C", "", "C", "6 5", "D", "6 5"),  # without an accidental the signature speaks
    ],
)
def test_an_accidental_in_a_figure_is_spelled_anew_in_the_new_key(
    key: str, signature: str, bass: str, figures: str, to: str, there: str
) -> None:
    exercise = transposed(small(key, signature, bass, figures), to.replace("-", "b"))
    assert str(exercise.figures[0][1]).replace("b", "-") == there


def figured(exercise: Exercise) -> list[str]:
    return [str(figuring) for _, figuring in exercise.figures]


def test_a_figure_counts_from_the_bass_that_sounds_else_the_last_else_the_next() -> None:
    """The same flat seventh over c and d: b flat and c flat."""
    assert figured(transposed(piece("C major", "c3 d3", "b7,b7"), "D")) == ["n7", "b7"]
    assert figured(transposed(piece("C major", "c3 -", ",b7"), "D")) == ["n7"]
    assert figured(transposed(piece("C major", "- c3 d3", "b7"), "D")) == ["n7"]
    half = replace(piece("C major", "c3 d3"), figures=((Fraction(2), Figuring.parse("b7")),))
    assert figured(transposed(half, "D")) == ["n7"]


def test_figures_without_any_bass_stay_as_they_are() -> None:
    assert figured(transposed(piece("C major", "-", "#6"), "D")) == ["#6"]


def test_a_figure_that_would_need_three_accidentals_is_refused() -> None:
    here = piece("C major", "c3", "##4")
    assert figured(transposed(here, "G")) == ["##4"]
    with pytest.raises(PitchError, match="the figure ##4 over c3 has no spelling in that key"):
        transposed(here, "C#")
    flat = piece("C major", "c3", "bb7")
    with pytest.raises(PitchError, match="has no spelling"):
        transposed(flat, "Cb")


# ── what cannot be ───────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("note", "by", "there"),
    [
        ("f#9", Interval(1, 1), "g9"),  # the highest key of MIDI
        ("g9", Interval(0, 1), None),
        ("c#-1", Interval(0, -1), "c-1"),  # the lowest
        ("c-1", Interval(0, -1), None),
        ("c##4", Interval(0, 1), "c###4"),
        ("c###4", Interval(0, 1), None),
        ("cbb4", Interval(0, -1), "cbbb4"),
        ("cbbb4", Interval(0, -1), None),
    ],
)
def test_a_note_stays_on_the_keyboard_with_at_most_three_accidentals(
    note: str, by: Interval, there: str | None
) -> None:
    here = piece("C major", note)
    if there is not None:
        assert written(moved(here, by).bass) == there
    else:
        with pytest.raises(PitchError, match="has no place on the keyboard"):
            moved(here, by)


@pytest.mark.parametrize(
    ("key", "to", "signature", "remedy"),
    [
        ("C major", "G#", 8, "ask for ab"),
        ("C major", "Fb", 8, "ask for e"),
        ("a minor", "Db", 8, "ask for c#"),
        ("C major", "B#", 12, "ask for c"),
        ("C major", "F##", 13, "ask for g"),
        ("C major", "Bbb", 9, "ask for a"),
        ("C major", "Fbbb", 22, ""),
    ],
)
def test_a_signature_of_more_than_seven_is_refused_with_the_same_key_otherwise_spelled(
    key: str, to: str, signature: int, remedy: str
) -> None:
    with pytest.raises(PitchError, match=f"a signature of {signature} accidentals") as raised:
        transposed(piece(key, "a2"), to)
    assert raised.value.remedy == remedy


@pytest.mark.parametrize("to", ["C#", "Cb"])
def test_a_signature_of_seven_can_be_read(to: str) -> None:
    assert abs(transposed(piece("C major"), to).key.signature) == 7


def test_the_mode_may_be_named_if_it_is_the_mode_of_the_piece() -> None:
    assert str(transposed(piece("a minor"), " g minor ").key) == "g minor"
    assert str(transposed(piece("a minor"), Key.parse("g aeolian")).key) == "g minor"
    assert str(transposed(piece("a aeolian"), "g minor").key) == "g aeolian"
    assert str(transposed(piece("a minor"), "g").key) == "g minor"
    for other in ("g dorian", "G major"):
        with pytest.raises(PitchError, match="a piece in minor cannot go to"):
            transposed(piece("a minor"), other)
    with pytest.raises(PitchError, match="a piece in dorian cannot go to"):
        transposed(piece("d dorian"), "d minor")


# ── easier keys ──────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("key", "bass", "to"),
    [
        ("Db major", "db3", "C major"),  # not d major: fewer accidentals at the same distance
        ("F# major", "f#3", "F major"),  # as easy as g major and as near: downwards
        ("C# major", "c#3", "Db major"),
        ("ab minor", "ab2", "g# minor"),
        ("bb minor", "bb2", "a minor"),
        ("bb minor", "c2 bb2", "b minor"),  # a semitone lower the bass would leave its compass
        ("G major", "g2", "C major"),
    ],
)
def test_the_easier_key_is_the_nearest_with_fewer_accidentals(key: str, bass: str, to: str) -> None:
    assert str(easier(piece(key, bass)).key) == to


@pytest.mark.parametrize(
    ("key", "bass", "sharps"), [("C# major", "c#3", 7), ("Db major", "db3", -5)]
)
def test_every_key_with_fewer_accidentals_is_offered_both_ways_the_nearest_first(
    key: str, bass: str, sharps: int
) -> None:
    here = piece(key, bass)
    found = [
        (there.key.signature, there.bass[0].pitch.midi - here.bass[0].pitch.midi)  # type: ignore[union-attr]
        for there in easier_keys(here)
    ]
    # each fifth on the line is seven semitones, modulo the octave; D flat stands in for C sharp
    ways = [
        (signature, semitones)
        for signature in range(-6, 7)
        for semitones in range(-12, 12)
        if abs(signature) < abs(sharps) and (7 * (signature - sharps) - semitones) % 12 == 0
    ]
    assert sorted(found) == sorted(ways)
    assert found == sorted(found, key=lambda one: (abs(one[1]), abs(one[0]), one[1]))


def test_nothing_is_easier_than_no_accidentals() -> None:
    here = replace(piece("C major"), source="here.krn")
    with pytest.raises(ExerciseError, match=r"here\.krn: piece has no easier key than C major"):
        easier(here)
    with pytest.raises(ExerciseError, match=r"^piece has no easier key than a minor"):
        easier(piece("a minor"))


def test_a_key_in_which_something_cannot_be_written_is_not_offered() -> None:
    """A semitone lower or higher g double sharp would need a triple one; a tone higher it is a."""
    here = piece("Db major", "db3", "##4")
    assert str(easier(here).key) == "Eb major"
    assert figured(easier(here)) == ["##4"]


def test_no_key_is_offered_in_which_the_voices_go_further_beyond_their_compass() -> None:
    """The bass lies a semitone too low already: it may not go down, and up it may."""
    assert str(easier(piece("Db major", "b1")).key) == "D major"
    assert str(easier(piece("Db major", "c2")).key) == "D major"
    assert str(easier(piece("Db major", "db2")).key) == "C major"
    assert str(easier(piece("Db major", melody="a#5")).key) == "C major"
