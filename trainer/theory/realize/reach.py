"""The voicings a hand can reach at each moment, as rows of one table.

A row is four keys, soprano first, with their heights and their numbers over the bass. Which rows
there are is decided here: what completes the figuring (`Sonority.completions`) set out in every
position that the hands reach without crossing. What is then thought of a row, alone or after
another, is the business of `rules`.

At a moment that begins no chord the inner voices hold, and where the bass rests they rest with it,
their rows only remembering what they had; over tasto solo they rest; all' unisono one voice doubles
the bass in octaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from trainer.errors import NoVoicingError
from trainer.theory.figures import Way
from trainer.theory.hands import DIVISIONS, SPAN, Hands, stretches
from trainer.theory.moment import Moment
from trainer.theory.pitch import SEMITONES, Pitch, PitchName
from trainer.theory.realize.pairs import Rows, uncrossed
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import Voicing

Small = NDArray[np.int16]

REST = -1
KEYBOARD = (21, 108)  # A0 to c8, MIDI numbers
FREE_TOP = 81  # a'': a free top voice is not sought above it
FREE_FLOOR = 48  # small c: nor is a right hand without a melody sought below it


@dataclass(frozen=True)
class Choices:
    """Rows starts[i] to starts[i + 1] are the voicings of moment i.

    `keys`, `heights` (letters above c0) and `numbers` (1 to 7 over the bass) have shape
    (4, rows), soprano first; a voice that rests has REST, REST and 0. `ranks` is the place of
    the row's completion in its sonority, 0 = the best. `silent`, of shape (4, moments), tells
    which voices rest though their row remembers a note.
    """

    starts: Rows
    keys: Small
    heights: Small
    numbers: Small
    ranks: Small
    silent: NDArray[np.bool_]

    def voicing(self, moment: int, choice: int) -> Voicing:
        """A choice of a moment, as four spelled pitches."""
        row = int(self.starts[moment]) + choice
        notes = zip(
            self.keys[:, row].tolist(),
            self.heights[:, row].tolist(),
            self.silent[:, moment].tolist(),
            strict=True,
        )
        return Voicing(*(None if silent else _pitch(key, height) for key, height, silent in notes))


@dataclass(frozen=True, slots=True)
class _Layer:
    keys: Small
    heights: Small
    numbers: Small
    ranks: Small


def _stacked(notes: Small, ranks: Small | None = None) -> _Layer:
    """A layer from keys, heights and numbers in one array of shape (3, 4, rows)."""
    ranks = np.zeros(notes.shape[2], np.int16) if ranks is None else ranks
    return _Layer(notes[0], notes[1], notes[2], ranks)


def choices(moments: Sequence[Moment], sonorities: Sequence[Sonority], hands: Hands) -> Choices:
    """Every voicing within reach; NoVoicingError where the given notes leave no room at all."""
    layers: list[_Layer] = []
    for moment, sonority in zip(moments, sonorities, strict=True):
        _within_keyboard(moment)
        holds = not moment.chord and bool(layers)
        if holds:
            layers.append(_hold(layers[-1], moments[len(layers) - 1], moment))
        else:
            layers.append(_layer(moment, sonority, hands))
    sizes = [layer.keys.shape[1] for layer in layers]
    if not layers:
        layers.append(_stacked(np.zeros((3, 4, 0), np.int16)))
    return Choices(
        starts=np.cumsum([0, *sizes], dtype=np.intp),
        keys=np.concatenate([layer.keys for layer in layers], axis=1),
        heights=np.concatenate([layer.heights for layer in layers], axis=1),
        numbers=np.concatenate([layer.numbers for layer in layers], axis=1),
        ranks=np.concatenate([layer.ranks for layer in layers]),
        silent=_silent(moments, sonorities),
    )


def _silent(moments: Sequence[Moment], sonorities: Sequence[Sonority]) -> NDArray[np.bool_]:
    silent = np.zeros((4, len(moments)), bool)
    for index, (moment, sonority) in enumerate(zip(moments, sonorities, strict=True)):
        if sonority.bass is None and not moment.chord:
            silent[1:3, index] = True
            silent[0, index] = moment.melody is None
    return silent


def row_of(voicing: Voicing, sonority: Sonority) -> tuple[Small, Small, Small]:
    """Any voicing as one row: keys, heights, numbers, each of shape (4, 1)."""
    keys = [REST if p is None else p.midi for p in voicing]
    heights = [REST if p is None else p.height for p in voicing]
    numbers = [0 if p is None else sonority.number(p.name) for p in voicing]
    return tuple(np.array(values, np.int16)[:, None] for values in (keys, heights, numbers))  # type: ignore[return-value]


def _within_keyboard(moment: Moment) -> None:
    for name, pitch in (("bass", moment.bass), ("melody", moment.melody)):
        if pitch is not None and not KEYBOARD[0] <= pitch.midi <= KEYBOARD[1]:
            raise NoVoicingError(
                f"the {name} {pitch} lies outside the keyboard (a0 to c8)",
                bar=moment.bar,
                beat=float(moment.beat),
                remedy="move it by an octave",
            )
    if moment.bass and moment.melody and moment.melody.midi < moment.bass.midi:
        raise NoVoicingError(
            f"the melody {moment.melody} lies below the bass {moment.bass}",
            bar=moment.bar,
            beat=float(moment.beat),
            remedy="move one of them by an octave",
        )


def _layer(moment: Moment, sonority: Sonority, hands: Hands) -> _Layer:
    if sonority.bass is None or sonority.way is Way.TASTO_SOLO:
        return _bare(moment, sonority)
    if sonority.way is Way.UNISON:
        return _unison(moment, sonority)
    if not sonority.completions:
        return _stacked(np.zeros((3, 4, 0), np.int16))
    names = dict.fromkeys(number for numbers in sonority.completions for number in numbers)
    own = tuple(
        (number, sonority.name(number) if number in sonority.by_number else _melody_name(sonority))
        for number in names
    )
    melody = moment.melody
    given = None
    if melody is not None:
        number = sonority.number(melody.name)
        member = sonority.by_number.get(number)
        given = (melody, number, member is not None and member.name == melody.name)
    low = _note(moment.bass, 1 if sonority.by_number[1].name == sonority.bass.name else 0)
    return _full(sonority.bass, low, own, sonority.completions, given, hands)


def _melody_name(sonority: Sonority) -> PitchName:
    assert sonority.melody is not None
    return sonority.melody.name


@lru_cache(maxsize=4096)
def _full(
    bass: Pitch,
    low: tuple[int, int, int],
    names: tuple[tuple[int, PitchName], ...],
    completions: tuple[tuple[int, ...], ...],
    melody: tuple[Pitch, int, bool] | None,
    hands: Hands,
) -> _Layer:
    """All positions of all completions, over a lowest voice that has the note `low`.

    The melody: pitch, number, and whether it is a member.
    """
    top = FREE_TOP if melody is None else melody[0].midi
    floor = bass.midi
    if "tenor" in DIVISIONS[hands].right:
        floor = max(floor, FREE_FLOOR if melody is None else top - SPAN)
    notes = [
        (key, number, _height(key, name))
        for number, name in names
        for key in range(floor + (name.pitch_class - floor) % 12, top + 1, 12)
    ]
    notes.sort()
    keys, numbers, heights = np.array(notes, np.int16).reshape(-1, 3).T
    ways = uncrossed(len(notes), 3 if melody is None else 2)
    upper = np.stack([keys[ways], heights[ways], numbers[ways]])  # (3, voices, ways)
    if melody is not None:
        pitch, above, _ = melody
        given = np.array([pitch.midi, pitch.height, above], np.int16)[:, None, None]
        upper = np.concatenate([np.broadcast_to(given, (3, 1, upper.shape[2])), upper], axis=1)
    ranks = _ranks(completions)[(1 << 2 * (upper[2].astype(np.intp) - 1)).sum(axis=0)]
    good = (ranks >= 0) & _reached(upper[0], bass.midi, hands)
    good &= _enough(upper, low[0], completions[0])
    upper, ranks = upper[:, :, good], ranks[good]
    if melody is not None and not melody[2]:
        upper[2, 0] = 0
    lowest = np.broadcast_to(np.array(low, np.int16)[:, None, None], (3, 1, upper.shape[2]))
    return _stacked(np.concatenate([upper, lowest], axis=1), ranks)


def _reached(upper: Small, bass: int, hands: Hands) -> NDArray[np.bool_]:
    keys = (*upper, np.int16(bass))
    within = np.ones(upper.shape[1], bool)
    for highest, lowest in stretches(hands):
        within &= keys[highest] - keys[lowest] <= SPAN
    return within


def _enough(upper: Small, bass: int, best: tuple[int, ...]) -> NDArray[np.bool_]:
    """Three keys at least, or the full chord on fewer: two keys are hardly four voices."""
    different = 1 + (upper[0, 0] != upper[0, 1]) + (upper[0, 1] != upper[0, 2])
    if bass != REST:
        different += upper[0, 2] != bass
    full = np.ones(upper.shape[2], bool)
    for number in set(best) - (set() if bass == REST else {1}):
        full &= (upper[2] == number).any(axis=0)
    full |= different >= 3
    return full


def _ranks(completions: tuple[tuple[int, ...], ...]) -> Small:
    """By the sum of 4 ** (number - 1) over three voices: the completion's place, -1 if none."""
    ranks = np.full(1 << 14, -1, np.int16)
    for rank, numbers in enumerate(completions):
        ranks[sum(1 << 2 * (number - 1) for number in numbers)] = rank
    return ranks


def _bare(moment: Moment, sonority: Sonority) -> _Layer:
    """Only what is given sounds."""
    return _rows(moment, sonority, [(REST, REST, 0)])


def _unison(moment: Moment, sonority: Sonority) -> _Layer:
    """The bass and one doubling of it an octave or two above, below or on the melody."""
    assert sonority.bass is not None
    bass = sonority.bass
    top = FREE_TOP if moment.melody is None else moment.melody.midi
    octaves = [
        (bass.midi + 12 * n, bass.height + 7 * n, 1) for n in (1, 2) if bass.midi + 12 * n <= top
    ]
    return _rows(moment, sonority, octaves or [(REST, REST, 0)])


def _rows(moment: Moment, sonority: Sonority, tenors: list[tuple[int, int, int]]) -> _Layer:
    melody = moment.melody
    above = _note(melody, 0 if melody is None else sonority.number(melody.name))
    rest, low = _note(None, 0), _note(moment.bass, 1)
    table = np.array([(above, rest, tenor, low) for tenor in tenors], np.int16)
    return _stacked(table.transpose(2, 1, 0))


def _hold(before: _Layer, earlier: Moment, moment: Moment) -> _Layer:
    """The inner voices as they are, once each, between the outer voices of this moment."""
    table = np.stack([before.keys, before.heights, before.numbers])
    melody = moment.melody
    if melody is not None or earlier.melody is not None:  # else a free top voice holds too
        _, first = np.unique(table[0, 1:3], axis=1, return_index=True)
        first.sort()
        table = table[:, :, first]
        number = 0
        if melody is not None:
            number = 1 if moment.bass is None else (melody.step - moment.bass.step) % 7 + 1
        table[:, 0] = np.array(_note(melody, number))[:, None]
    table[:, 3] = np.array(_note(moment.bass, 1))[:, None]
    return _stacked(table)


def _note(pitch: Pitch | None, number: int) -> tuple[int, int, int]:
    """Key, height, number."""
    return (REST, REST, 0) if pitch is None else (pitch.midi, pitch.height, number)


def _height(key: int, name: PitchName) -> int:
    return 7 * ((key - SEMITONES[name.step] - name.alter) // 12 - 1) + name.step


@lru_cache(maxsize=4096)
def _pitch(key: int, height: int) -> Pitch | None:
    if key == REST:
        return None
    octave, step = divmod(height, 7)
    return Pitch(step, key - 12 * (octave + 1) - SEMITONES[step], octave)
