"""Exercises as Standard MIDI Files: one track a voice, the figures as text events over the bass."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

import mido

from trainer.score.exercise import Exercise, Note
from trainer.score.interchange.common import Part, parts

_VELOCITY = 64
# major keys by signature, and the minor that shares it, as MIDI names them
_MAJOR = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")


def to_midi(exercise: Exercise, *, solution: bool = False) -> mido.MidiFile:
    """A file of type 1; with `solution` alto and tenor sound too."""
    voices = parts(exercise, solution)
    times = [note.duration for part in voices for note in part.notes]
    times += [at for at, _ in exercise.figures]
    resolution = 96 * lcm(*(time.denominator for time in times))
    file = mido.MidiFile(type=1, ticks_per_beat=resolution)
    file.tracks.append(_conductor(exercise, resolution))
    for channel, part in enumerate(voices):
        file.tracks.append(_track(exercise, part, channel, resolution))
    return file


def _conductor(exercise: Exercise, resolution: int) -> mido.MidiTrack:
    beat = exercise.metre.beat_length
    events: list[tuple[Fraction, mido.MetaMessage]] = [
        (Fraction(0), mido.MetaMessage("track_name", name=_ascii(exercise.title))),
        (
            Fraction(0),
            mido.MetaMessage("set_tempo", tempo=round(60e6 / (exercise.tempo * float(beat)))),
        ),
    ]
    for at, metre in exercise.metres:
        signature = mido.MetaMessage(
            "time_signature", numerator=metre.beats, denominator=metre.unit
        )
        events.append((at, signature))
    for at, key in exercise.keys:
        name = _MINOR[key.signature + 7] + "m" if key.is_minor else _MAJOR[key.signature + 7]
        events.append((at, mido.MetaMessage("key_signature", key=name)))
    return _timed(events, exercise.length, resolution)


def _track(exercise: Exercise, part: Part, channel: int, resolution: int) -> mido.MidiTrack:
    events: list[tuple[Fraction, mido.Message | mido.MetaMessage]] = [
        (Fraction(0), mido.MetaMessage("track_name", name=part.name.capitalize()))
    ]
    for note, end in _sounding(part.notes):
        assert note.pitch is not None
        key = note.pitch.midi
        events.append(
            (note.onset, mido.Message("note_on", note=key, velocity=_VELOCITY, channel=channel))
        )
        events.append((end, mido.Message("note_off", note=key, velocity=0, channel=channel)))
    if part.name == "bass":
        events += [
            (at, mido.MetaMessage("text", text=str(figuring))) for at, figuring in exercise.figures
        ]
    return _timed(events, exercise.length, resolution)


def _sounding(notes: tuple[Note, ...]) -> list[tuple[Note, Fraction]]:
    """Each struck note with the end of the last note tied to it."""
    found: list[tuple[Note, Fraction]] = []
    for note in notes:
        if note.tied and found:
            found[-1] = (found[-1][0], note.end)
        elif note.pitch is not None:
            found.append((note, note.end))
    return found


def _timed(
    events: list[tuple[Fraction, mido.Message]], length: Fraction, resolution: int
) -> mido.MidiTrack:
    # at one time: what ends, then what is said, then what begins
    order = {"note_off": 0, "note_on": 2}
    events.sort(key=lambda event: (event[0], order.get(event[1].type, 1)))
    track = mido.MidiTrack()
    now = 0
    for at, message in events:
        tick = int(at * resolution)
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=int(length * resolution) - now))
    return track


def _ascii(text: str) -> str:
    return text.encode("latin-1", "replace").decode("latin-1")
