"""Notes named in a commentary go with the piece when it is transposed."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from trainer.score.commentary import in_words, moved, strange_braces
from trainer.score.library import Library
from trainer.score.transpose import transposed
from trainer.theory.key import Key
from trainer.theory.pitch import Interval


def test_notes_in_braces_are_spelled_out() -> None:
    assert in_words("From {a} to {g#}.", Key.parse("a")) == "From a to g sharp."
    assert in_words("{F#} minor, then {bb}.", Key.parse("A")) == "F sharp minor, then b flat."


def test_a_natural_foreign_to_the_signature_is_called_natural() -> None:
    assert in_words("the 6 is {b}", Key.parse("F")) == "the 6 is b natural"
    assert in_words("the 6 is {b}", Key.parse("C")) == "the 6 is b"


def test_a_piece_takes_its_commentary_along() -> None:
    piece = replace(
        Library().find("evening-bells"), commentary=("From {a} the bass rises to {b}, a tone.",)
    )
    there = transposed(piece, "Eb")
    assert there.commentary == ("From {c} the bass rises to {d}, a tone.",)


@given(
    st.sampled_from(["{c}", "{F#}", "{bb} and {e}", "no note", "a {h} and {}"]),
    st.sampled_from([(1, 2), (2, 3), (-3, -5), (4, 7), (-1, -1), (3, 6)]),
)
def test_there_and_back_is_where_one_was(text: str, way: tuple[int, int]) -> None:
    letters, semitones = way
    there = moved(text, Interval(letters, semitones))
    assert moved(there, Interval(-letters, -semitones)) == text


def test_what_is_no_note_is_told() -> None:
    assert strange_braces("{h} and {c#} and {two words}") == ("{h}", "{two words}")
