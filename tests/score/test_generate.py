"""Sight-reading without end: always playable, on its step, never the same."""

from __future__ import annotations

from itertools import pairwise

import pytest

from trainer.composing.generate import METRES, generate
from trainer.composing.harmonies import chords, closes, modes, progressions
from trainer.composing.harmonise import harmonise
from trainer.composing.melody import HIGHEST, LOWEST
from trainer.errors import ExerciseError
from trainer.score.check import check
from trainer.score.exercise import Exercise
from trainer.score.kern import parse_exercise, write_exercise
from trainer.score.syllabus import relative, successions, vocabulary
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.realize import Solver

SAMPLE = [(step, seed) for step in range(4, 25) for seed in (1, 2)]


@pytest.mark.parametrize(("step", "seed"), SAMPLE)
def test_a_generated_piece_is_playable_and_lies_on_its_step(step: int, seed: int) -> None:
    piece = generate(step, seed=seed)
    assert Solver(piece.moments).best()
    assert [str(one) for one in check(piece) if one.weight != "remark"] == []
    taught = vocabulary(step)
    assert abs(piece.key.signature) <= taught.max_accidentals
    for moment in piece.moments:
        if moment.figured and moment.bass is not None:
            figuring = relative(moment.figuring, moment.bass, piece.key)
            assert taught.knows(figuring, piece.key), f"{figuring} at step {step}"
    assert set(successions(piece)) <= taught.successions
    assert parse_exercise(write_exercise(piece)) == piece


@pytest.mark.parametrize("metre", METRES, ids=str)
@pytest.mark.parametrize("bars", [2, 8, 13])
def test_key_metre_and_length_are_as_wished(metre: Metre, bars: int) -> None:
    piece = generate(9, seed=3, key=Key.parse("D"), metre=metre, bars=bars)
    assert str(piece.key) == "D major"
    assert piece.metre == metre
    assert piece.length == bars * metre.bar_length


def test_the_same_seed_gives_the_same_piece() -> None:
    assert generate(13, seed=77) == generate(13, seed=77)


def test_a_hundred_seeds_give_a_hundred_pieces() -> None:
    wish = {"key": Key.parse("G"), "metre": Metre(4, 4), "bars": 4}
    made = {_music(generate(5, seed=seed, **wish)) for seed in range(100)}  # type: ignore[arg-type]
    assert len(made) == 100


def _music(piece: Exercise) -> tuple[object, ...]:
    return (piece.melody, piece.bass, piece.figures)


@pytest.mark.parametrize("seed", range(12))
def test_the_melody_can_be_sung(seed: int) -> None:
    """In compass, mostly by step, no leap beyond a fifth, no augmented second, home at the end."""
    piece = generate(10, seed=seed, bars=8)
    pitches = [note.pitch for note in piece.melody if note.pitch is not None]
    assert all(LOWEST - 1 <= pitch.midi <= HIGHEST + 1 for pitch in pitches)
    phrases = [0, *(n + 1 for n, note in enumerate(piece.melody) if note.fermata)]
    inner = [(a, b) for n, (a, b) in enumerate(pairwise(pitches), start=1) if n not in set(phrases)]
    steps = sum(abs(b.height - a.height) <= 1 for a, b in inner)
    assert steps >= 0.6 * len(inner)
    for a, b in inner:
        assert abs(b.height - a.height) <= 4
        assert not (abs(b.height - a.height) == 1 and abs(b.midi - a.midi) > 2)
    assert pitches[-1].name == piece.key.final


@pytest.mark.parametrize("seed", range(12))
def test_the_last_bass_note_is_the_final(seed: int) -> None:
    piece = generate(9, seed=seed)
    last = piece.moments[-1].bass
    assert last is not None
    assert last.name == piece.key.final


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ({"step": 3}, "no phrases can be made at step 3"),
        ({"step": 25}, "no phrases can be made at step 25"),
        ({"step": 9, "bars": 1}, "1 bars cannot be made"),
        ({"step": 9, "metre": Metre(7, 8)}, "no phrases can be made in 7/8"),
        ({"step": 6, "key": Key.parse("E")}, "4 accidentals, step 6 at most 1"),
        ({"step": 4, "key": Key.parse("a")}, "has not come to minor"),
        ({"step": 24, "key": Key.parse("f lydian")}, "no chords are known for lydian"),
    ],
)
def test_a_wish_that_cannot_be_met_is_refused(wish: dict[str, object], says: str) -> None:
    with pytest.raises(ExerciseError, match=says):
        generate(seed=1, **wish)  # type: ignore[arg-type]


@pytest.mark.parametrize("mode", modes())
def test_the_tables_of_chords_progressions_and_closes_name_the_same_chords(mode: str) -> None:
    final = {"major": "C", "minor": "a", "dorian": "d dorian", "phrygian": "e phrygian"}[mode]
    known = chords(Key.parse(final), 24)
    names = {chord.name for chord in known}
    table = progressions(mode)
    assert {before for before, _ in table} == names
    assert {after for _, after in table} <= names
    placed = {(chord.name, chord.bass) for chord in known}
    for first, bass, last, end in closes(mode):
        assert (first, bass) in placed
        assert (last, end) in placed


def test_a_melody_with_a_rest_is_not_harmonised() -> None:
    piece = generate(5, seed=1)
    broken = (
        *piece.melody[:-1],
        type(piece.melody[0])(piece.melody[-1].onset, piece.melody[-1].duration, None),
    )
    with pytest.raises(ExerciseError, match="the melody has a rest"):
        harmonise(broken, piece.key, piece.metre, 5, pickup=piece.pickup)
