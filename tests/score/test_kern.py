from __future__ import annotations

import random
import time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings

from tests.score.strategies import exercises
from trainer.errors import ExerciseError
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import LARGEST, parse_exercise, read_exercise, write_exercise
from trainer.theory.key import Key
from trainer.theory.pitch import PitchName

PHRASE = """\
!!!OTL: Evening phrase
!!!level: 10
!!!tags: cadence, 4 3
**kern\t**fb\t**kern
*Ibass\t*\t*Isoprn
*k[b-]\t*\t*k[b-]
*g:dor\t*\t*g:dor
*M3/4\t*\t*M3/4
*MM60\t*\t*MM60
4GG\t.\t4b-
=1\t=1\t=1
2.D\t4\t2.a
.\t.\t.
.\t3\t.
=2\t=2\t=2
[2C\tn6 #\t4d
.\t.\t4d;
==\t==\t==
*-\t*-\t*-
!!!commentary: The 4 waits.
""".replace("[2C", "2C")


@settings(max_examples=150, deadline=None)
@given(exercises())
def test_what_is_written_is_read_back_the_same(exercise: Exercise) -> None:
    assert parse_exercise(write_exercise(exercise)) == exercise


def test_a_written_file_is_a_fixed_point() -> None:
    once = write_exercise(parse_exercise(PHRASE))
    assert write_exercise(parse_exercise(once)) == once


@pytest.mark.parametrize("path", sorted(exercises_folder().glob("*.krn")), ids=lambda p: p.stem)
def test_shipped_files_are_written_as_the_writer_writes_them(path: Path) -> None:
    exercise = read_exercise(path)
    assert exercise.id == path.stem
    assert parse_exercise(write_exercise(exercise)) == exercise
    assert exercise.moments and exercise.phrases


def test_figures_on_their_own_lines_divide_the_bass_note_evenly() -> None:
    exercise = parse_exercise(PHRASE)
    assert [(onset, str(figuring)) for onset, figuring in exercise.figures] == [
        (Fraction(1), "4"),
        (Fraction(3), "3"),
        (Fraction(4), "n6 #"),
    ]


def test_a_dorian_piece_keeps_its_signature_and_its_final_apart() -> None:
    assert parse_exercise(PHRASE).key == Key(PitchName.parse("g"), "dorian", -1)


def test_a_pickup_is_bar_0_and_counts_its_beats_from_the_end() -> None:
    first = parse_exercise(PHRASE).moments[0]
    assert (first.bar, first.beat) == (0, 3)


def test_the_tempo_counts_tactus_beats_while_the_file_counts_quarters() -> None:
    text = PHRASE.replace("*M3/4", "*M6/8").replace("*MM60", "*MM90")
    assert parse_exercise(text).tempo == 60.0


# one change to PHRASE -> the line the message names and a part of what it says
BROKEN = [
    ("**fb\t**kern", "**fb\t**text", 4, "spines are not those of an exercise"),
    ("*Ibass\t*\t*Isoprn", "*Ibass\t*\t*Ialto", 5, "stands over the spine of the melody"),
    ("*k[b-]\t*\t*k[b-]", "*k[e-]\t*\t*k[e-]", 6, "not a key signature"),
    ("*g:dor\t*\t*g:dor", "*h:\t*\t*h:", 7, "not a key"),
    ("*M3/4\t*\t*M3/4", "*M3/5\t*\t*M3/5", 8, "not a metre"),
    ("*M3/4\t*\t*M3/4", "*M3/4\t*\t*M4/4", 8, "contradict"),
    ("*MM60\t*\t*MM60", "*MMfast\t*\t*MMfast", 9, "not a tempo"),
    ("4GG\t.\t4b-", "4GG\t.", 10, "2 spines where there are 3"),
    ("4GG\t.\t4b-", "4GG\t.\t4h", 10, "not a note"),
    ("4GG\t.\t4b-", "4GG\t.\t8b-", 11, "the bass sounds on"),
    ("4GG\t.\t4b-", "2.GG\t.\t2.b-", 11, "pick-up lasts"),
    ("=1\t=1\t=1", "=2\t=2\t=2", 11, "this is bar 1"),
    ("=1\t=1\t=1", "=:|!\t=:|!\t=:|!", 11, "repeats are written out"),
    ("2.D\t4\t2.a", "2.D\t15\t2.a", 12, "not a figure"),
    ("2.D\t4\t2.a", "2.D\tb5\t2.a", 12, "write a flat as -"),
    ("2.D\t4\t2.a", "2.D\t4\t[2.a", 16, "the tie of the melody leads to 4d"),
    ("2.D\t4\t2.a", "2.D\t4\t2.a]", 12, "closes a tie"),
    ("2.D\t4\t2.a", "1D\t4\t1a", 15, "bar 1 lasts 4"),
    ("2.D\t4\t2.a", "2D\t4\t2a", 16, "bar 1 lasts 2"),
    ("2.D\t4\t2.a", "2.DDDDDDD\t4\t2.a", 12, "beyond every keyboard"),
    ("2C\tn6 #\t4d", "2C\tn6 #\t4d\n2C\t.\t4d", 17, "the bass begins while"),
    ("2C\tn6 #\t4d", "4C\tn6 #\t4d", 17, "the bass has ended here"),
    ("==\t==\t==\n", "", None, "the final barline is missing"),
    ("*-\t*-\t*-\n", "", None, "not ended"),
    ("!!!level: 10", "!!!levle: 10", 2, "did you mean !!!level"),
    ("!!!level: 10", "!!!level: 99", 2, "not a level"),
    ("!!!tags: cadence, 4 3", "!!!OTL: Again", 3, "stands twice"),
]


@pytest.mark.parametrize(("old", "new", "line", "says"), BROKEN, ids=[b[3] for b in BROKEN])
def test_every_mistake_is_named_with_its_line(
    old: str, new: str, line: int | None, says: str
) -> None:
    assert old in PHRASE
    with pytest.raises(ExerciseError) as caught:
        parse_exercise(PHRASE.replace(old, new, 1), file="evening.krn")
    message = str(caught.value)
    assert says in message and "\n" not in message
    assert message.startswith("evening.krn:" if line is None else f"evening.krn:{line}:"), message


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no spines"),
        (PHRASE.encode().replace(b"Evening", b"\xc9vening"), ":1: the file is not UTF-8"),
        (PHRASE.encode().replace(b"4GG", b"4G\0G"), ":10: the file holds a NUL"),
        (b"x" * (LARGEST + 1), "more bytes than an exercise"),
        (PHRASE.encode("utf-16"), "not UTF-8"),
    ],
    ids=["empty", "latin-1", "nul", "huge", "utf-16"],
)
def test_a_file_that_is_no_text_is_refused_in_one_line(
    tmp_path: Path, data: bytes, says: str
) -> None:
    path = tmp_path / "evening.krn"
    path.write_bytes(data)
    with pytest.raises(ExerciseError) as caught:
        read_exercise(path)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_windows_line_ends_and_a_byte_order_mark_are_accepted(tmp_path: Path) -> None:
    path = tmp_path / "exercise.krn"
    path.write_bytes(b"\xef\xbb\xbf" + PHRASE.replace("\n", "\r\n").encode())
    assert read_exercise(path) == parse_exercise(PHRASE)


def test_damaged_files_give_one_clear_line_and_never_hang() -> None:
    chance = random.Random(1)
    originals = [path.read_text() for path in sorted(exercises_folder().glob("*.krn"))[:40]]
    alphabet = "\t\n.=*!|;[]_#-%0123456789abcdefgrABCDEFG \0é"
    for _ in range(4000):
        text = list(chance.choice(originals))
        for _ in range(chance.randint(1, 4)):
            text = text or ["!"]
            at = chance.randrange(len(text))
            match chance.randrange(4):
                case 0:
                    text[at] = chance.choice(alphabet)
                case 1:
                    del text[at]
                case 2:
                    text.insert(at, chance.choice(alphabet))
                case _:
                    del text[at : at + chance.randint(1, 400)]
        began = time.perf_counter()
        try:
            exercise = parse_exercise("".join(text))
        except ExerciseError as error:
            assert "\n" not in str(error)
        else:
            assert exercise.moments
        assert time.perf_counter() - began < 60  # against hanging
