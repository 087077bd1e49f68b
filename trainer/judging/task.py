"""What a pass asks of the player, worked out once: what to strike at each moment, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trainer.judging.harmony import sonorities_of
from trainer.judging.take import Conditions
from trainer.judging.timing import Timeline, played, timeline
from trainer.listening.manuals import Manual
from trainer.score.exercise import Exercise
from trainer.theory.moment import Moment
from trainer.theory.sonority import Sonority


@dataclass(frozen=True, slots=True)
class Awaited:
    """One moment as the player's hands see it.

    `bass` and `melody` are pitch classes the player is to strike, None where the program plays
    them, they rest or they are held. `belonging` are the pitch classes that do not contradict the
    figuring, `asked` those of them that are more than an addition. `wanted` is false where there
    is nothing to do: no chord, and no melody to strike. `voices` is how many the player has to
    sound.
    """

    index: int
    wanted: bool
    bass: int | None
    melody: int | None
    belonging: frozenset[int]
    asked: frozenset[int]
    voices: int


@dataclass(frozen=True, eq=False)
class Sheet:
    """A pass as arrays, one element (or row) a moment: `belonging` (moments × 12) tells which
    pitch classes belong, `bass` and `melody` the classes to strike or -1, `times` seconds from the
    first, `beats` the seconds a beat lasts there, `lengths` the moment's own length in beats,
    `wanted` whether there is something to do."""

    belonging: NDArray[np.bool_]
    bass: NDArray[np.int64]
    melody: NDArray[np.int64]
    times: NDArray[np.float64]
    beats: NDArray[np.float64]
    lengths: NDArray[np.float64]
    wanted: NDArray[np.bool_]


@dataclass(frozen=True)
class Task:
    """A pass: the moments `first` to `last` of an exercise under conditions.

    `awaited[i]` is moment `first + i`; `line` holds the times, None untimed.
    """

    exercise: Exercise
    conditions: Conditions
    moments: tuple[Moment, ...]
    sonorities: tuple[Sonority, ...]  # of the whole exercise
    awaited: tuple[Awaited, ...]
    line: Timeline | None

    @cached_property
    def sheet(self) -> Sheet:
        """The awaited moments as arrays."""
        return _sheet(self)

    @property
    def first(self) -> int:
        return self.moments[0].index

    @property
    def last(self) -> int:
        return self.moments[-1].index

    def at(self, index: int) -> Awaited:
        """What is awaited at moment `index` of the exercise."""
        return self.awaited[index - self.first]

    def wanted_from(self, index: int) -> int:
        """The first moment at or after `index` where the player has something to do, or the one
        after the last."""
        return next(
            (a.index for a in self.awaited[max(0, index - self.first) :] if a.wanted),
            self.last + 1,
        )


def task(exercise: Exercise, conditions: Conditions) -> Task:
    """Raises InputError for bounds or a tempo that cannot be, FigureError from the figuring."""
    moments = played(exercise, conditions)
    sounds = sonorities_of(exercise)
    awaited = tuple(_awaited(moment, sounds[moment.index], conditions) for moment in moments)
    line = None if conditions.tempo is None else timeline(exercise, conditions)
    return Task(exercise, conditions, moments, sounds, awaited, line)


def on_the_page(key: int, conditions: Conditions, manual: Manual = Manual.EVERYTHING) -> int:
    """The key meant by a key pressed, with the octaves each hand is shifted by. The left hand's
    keys are those on a manual told to play it, or the bass; where a manual plays everything, those
    below middle c. A key that would leave the keyboard stays where it is."""
    below = key < 60 if manual is Manual.EVERYTHING else manual is not Manual.RIGHT_HAND
    octaves = conditions.shift_left if below else conditions.shift_right
    meant = key + 12 * octaves
    return meant if 0 <= meant <= 127 else key


def strangeness(awaited: Awaited, keys: Sequence[int]) -> float:
    """How badly keys struck together, from the bass up, fit a moment: 0 not at all, up to 1.5.

    1.2 times the part of them that contradicts the figuring, 0.4 for a bass that should have been
    the lowest of them and 0.2 for a melody that should have been the highest.
    """
    cost = foreignness(awaited, keys)
    if awaited.bass is not None and awaited.bass != keys[0] % 12:
        cost += 0.4
    if awaited.melody is not None and awaited.melody != keys[-1] % 12:
        cost += 0.2
    return min(1.5, cost)


def foreignness(awaited: Awaited, keys: Sequence[int]) -> float:
    """1.2 times the part of the keys that contradicts the figuring: for keys added to a chord."""
    return 1.2 * sum(key % 12 not in awaited.belonging for key in keys) / len(keys)


def _awaited(moment: Moment, sonority: Sonority, conditions: Conditions) -> Awaited:
    own_bass = "bass" not in conditions.supply and moment.bass is not None
    own_melody = "melody" not in conditions.supply and moment.melody is not None
    bass = moment.bass.midi % 12 if own_bass and moment.bass and moment.bass_struck else None
    melody = (
        moment.melody.midi % 12 if own_melody and moment.melody and moment.melody_struck else None
    )
    given = {pitch.midi % 12 for pitch in (moment.bass, moment.melody) if pitch is not None}
    asked = sonority.allowed_pitch_classes | given
    belonging = asked | sonority.addition_pitch_classes
    voices = 4 - (not own_bass) - (not own_melody and moment.melody is not None)
    wanted = moment.chord or melody is not None
    return Awaited(moment.index, wanted, bass, melody, belonging, asked, voices)


def _sheet(task: Task) -> Sheet:
    assert task.line is not None
    awaited = task.awaited
    belonging = np.zeros((len(awaited), 12), np.bool_)
    for row, one in enumerate(awaited):
        belonging[row, list(one.belonging)] = True
    return Sheet(
        belonging,
        np.array([-1 if one.bass is None else one.bass for one in awaited]),
        np.array([-1 if one.melody is None else one.melody for one in awaited]),
        np.array(task.line.times),
        np.array(task.line.beat_lengths),
        np.array([float(m.duration / m.metre.beat_length) for m in task.moments]),
        np.array([one.wanted for one in awaited]),
    )
