"""What is written for other programs and read back is the same exercise."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from hypothesis import HealthCheck, given, settings

from tests.score.strategies import exercises
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise, Realization, note_at
from trainer.score.interchange.choosing import imported
from trainer.score.interchange.common import with_realization
from trainer.score.interchange.mei_file import to_mei
from trainer.score.interchange.midi_file import to_midi
from trainer.score.interchange.musicxml import to_musicxml
from trainer.score.interchange.reading import Reader
from trainer.score.kern import read_exercise
from trainer.score.patterns import POSITIONS, Position, expand, load_patterns
from trainer.score.transpose import transposed
from trainer.theory.key import Key
from trainer.theory.realize import Solver

SHIPPED = [read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))]
WRITERS: dict[str, Callable[..., str]] = {"musicxml": to_musicxml, "mei": to_mei}


@pytest.fixture(scope="module")
def reader() -> Iterator[Reader]:
    with Reader() as one:
        yield one


def there_and_back(
    exercise: Exercise, suffix: str, reader: Reader, folder: Path, *, solution: bool
) -> Exercise:
    path = folder / f"there.{suffix}"
    path.write_text(WRITERS[suffix](exercise, solution=solution), encoding="utf-8")
    return imported(reader.read(path), "there", bass="Bass").exercise


@pytest.mark.parametrize("suffix", WRITERS)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(exercise=exercises())
def test_an_exercise_comes_back_the_same(
    suffix: str, exercise: Exercise, reader: Reader, tmp_path: Path
) -> None:
    assert there_and_back(exercise, suffix, reader, tmp_path, solution=True) == exercise


@pytest.mark.parametrize("suffix", WRITERS)
@pytest.mark.parametrize("exercise", SHIPPED[:40], ids=lambda exercise: exercise.id)
def test_a_shipped_piece_comes_back_the_same_without_its_solution(
    suffix: str, exercise: Exercise, reader: Reader, tmp_path: Path
) -> None:
    plain = replace(exercise, alto=(), tenor=())
    assert there_and_back(exercise, suffix, reader, tmp_path, solution=False) == plain


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_transposed_piece_with_a_realization_comes_back_with_it(
    suffix: str, reader: Reader, tmp_path: Path
) -> None:
    exercise = transposed(next(one for one in SHIPPED if one.id == "evening-bells"), "Eb")
    best = Solver(exercise.moments).best(1)[0]
    solved = with_realization(exercise, Realization(tuple(best.voicings)))
    assert solved.alto and solved.tenor
    assert there_and_back(solved, suffix, reader, tmp_path, solution=True) == solved


@pytest.mark.parametrize("position", POSITIONS)
def test_a_solved_drill_has_four_voices_to_its_end(position: Position) -> None:
    """Its melody is one note to begin from and rests; there the top is the solution's."""
    patterns = load_patterns(exercises_folder() / "patterns")
    for name in ("rule-of-the-octave", "cadence-4-3", "rising-5-6"):
        drill = expand(patterns[name], Key.parse("G"), position)
        voicings = Solver(drill.moments).best(1)[0].voicings
        solved = with_realization(drill, Realization(voicings))
        assert solved.melody[0] == drill.melody[0]
        for voice in (solved.melody, solved.alto, solved.tenor):
            assert [note.end for note in voice][:-1] == [note.onset for note in voice][1:]
            assert voice[-1].end == solved.length
        heard = [note_at(solved.melody, moment.onset) for moment in drill.moments]
        assert [n and n.pitch for n in heard] == [v.soprano for v in voicings]


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_key_that_changes_inside_a_bar_comes_back_at_its_place(
    suffix: str, reader: Reader, tmp_path: Path
) -> None:
    bells = next(one for one in SHIPPED if one.id == "evening-bells")
    keys = (*bells.keys, (Fraction(7), Key.parse("G")), (Fraction(10), Key.parse("a")))
    exercise = replace(bells, keys=keys)
    assert there_and_back(exercise, suffix, reader, tmp_path, solution=False) == exercise


@settings(max_examples=60, deadline=None)
@given(exercises())
def test_a_midi_file_sounds_every_struck_note_for_its_written_time(exercise: Exercise) -> None:
    """Read back by mido, by its own rules of delta times and running files."""
    file = to_midi(exercise, solution=True)
    voices = [v for v in (exercise.melody, exercise.alto, exercise.tenor, exercise.bass) if v]
    assert len(file.tracks) == 1 + len(voices)
    for track, voice in zip(file.tracks[1:], voices, strict=True):
        heard: list[list[float]] = []
        now = 0
        for message in track:
            now += message.time
            beats = now / file.ticks_per_beat
            if message.type == "note_on":
                heard.append([message.note, beats, beats])
            elif message.type == "note_off":
                heard[-1][2] = beats
        wanted: list[list[float]] = []
        for note in voice:
            if note.tied:
                wanted[-1][2] = float(note.end)
            elif note.pitch is not None:
                wanted.append([note.pitch.midi, float(note.onset), float(note.end)])
        assert [h[0] for h in heard] == [w[0] for w in wanted]
        assert [x for h in heard for x in h[1:]] == pytest.approx(
            [x for w in wanted for x in w[1:]]
        )


def test_a_midi_file_says_metre_key_tempo_and_figures(tmp_path: Path) -> None:
    exercise = next(one for one in SHIPPED if one.id == "evening-river")
    path = tmp_path / "river.mid"
    to_midi(exercise).save(path)
    messages = [message for track in mido.MidiFile(path).tracks for message in track]
    said = {message.type: message for message in messages}
    assert (said["time_signature"].numerator, said["time_signature"].denominator) == (3, 4)
    assert said["key_signature"].key == "Dm"
    assert mido.tempo2bpm(said["set_tempo"].tempo) == pytest.approx(exercise.tempo, abs=0.01)
    texts = [message.text for message in messages if message.type == "text"]
    assert texts == [str(figuring) for _, figuring in exercise.figures]
