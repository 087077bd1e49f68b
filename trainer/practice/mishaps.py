"""What happens to people at one chord: the hand, the eye or the memory goes wrong, in keys that
would have been right. Each has its cause (`trainer.judging.causes`). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random
from typing import Literal, get_args

from trainer.errors import FigureError
from trainer.judging.task import Task
from trainer.theory.figures import NOTHING, Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch, PitchName, pitch_on
from trainer.theory.sonority import sonority
from trainer.theory.voicing import Voicing

MishapKind = Literal[
    "bass-alone",
    "accidental-forgotten",
    "finger-beside",
    "figure-not-read",
    "bass-misread",
    "hand-shifted",
]
MISHAPS: tuple[MishapKind, ...] = get_args(MishapKind)
_ALONE = ("", "#", "b", "n", "##", "bb")  # figurings of the triad
Keys = tuple[int, ...]


def mishap(
    asked: Task, index: int, voicing: Voicing, kind: MishapKind, chance: Random
) -> Voicing | None:
    """A voicing as it comes out where that happens; None where it cannot, or where nobody could
    tell it from something else."""
    keys = _WAYS[kind](asked.exercise.moments[index], voicing, chance)
    if keys is None or len(keys) > 4:
        return None
    spell = asked.sonorities[index].spell
    pitches = [spell(key) for key in sorted(keys)]
    if len(pitches) == 1:
        return Voicing(None, None, None, pitches[0])
    middle = [*pitches[1:-1], None, None]
    return Voicing(pitches[-1], middle[1], middle[0], pitches[0])


def somewhere(
    asked: Task,
    voicings: Sequence[Voicing],
    kind: MishapKind,
    chance: Random,
    right: Callable[[int, Sequence[int]], bool],
) -> tuple[int, Voicing] | None:
    """A chord of a pass to which that can happen, and how it comes out; None where there is none.
    `right` says of a moment whether keys are still what is asked."""
    places = [m.index for m in asked.moments if m.chord and m.bass is not None]
    chance.shuffle(places)
    for index in places:
        found = mishap(asked, index, voicings[index], kind, chance)
        if found is not None and not right(index, [p.midi for p in found if p is not None]):
            return index, found
    return None


def _bass_alone(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    return None if voicing.bass is None else (voicing.bass.midi,)


def _accidental_forgotten(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    """A middle voice as the signature has it."""
    key = moment.key
    given = {pitch.name for pitch in (moment.bass, moment.melody) if pitch is not None}
    altered = [
        p
        for p in (voicing.alto, voicing.tenor)
        if p is not None and p.name.alter != key.alter(p.name.step) and p.name not in given
    ]
    if len(altered) != 1:
        return None
    plain = PitchName(altered[0].name.step, key.alter(altered[0].name.step))
    return tuple(_near(plain, p.midi).midi if p == altered[0] else p.midi for p in voicing if p)


def _finger_beside(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    """A middle finger on the next key of the scale; where that makes the plain triad, nobody can
    tell it from a figure that was not read."""
    pitch = voicing[chance.choice(("alto", "tenor"))]
    if pitch is None or moment.bass is None:
        return None
    moved = _along(moment.key, pitch, chance.choice([-1, 1])).midi
    others = [p.midi for p in voicing if p is not None]
    if moved in others:
        return None
    others.remove(pitch.midi)
    keys = tuple(sorted([*others, moved]))
    triad = _classes(moment.bass, NOTHING, moment.key)
    return None if {key % 12 for key in keys} <= triad else keys


def _figure_not_read(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    """The triad of the bass, as near to the hand as it goes; under an accidental alone that is the
    accidental forgotten."""
    if str(moment.figuring) in _ALONE or moment.bass is None or voicing.soprano is None:
        return None
    classes = _classes(moment.bass, NOTHING, moment.key)
    top = voicing.soprano.midi
    if top % 12 not in classes:
        return None
    hand = [k for k in range(top - 11, top) if k % 12 in classes and k > moment.bass.midi]
    return (moment.bass.midi, *hand[-2:], top) if len(hand) > 1 else None


def _bass_misread(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    """A line or a space too high or low, the figures over it, under the melody that is written."""
    if moment.bass is None or voicing.soprano is None:
        return None
    bass = _along(moment.key, moment.bass, chance.choice([-2, -1, 1, 2]))
    classes = _classes(bass, moment.figuring, moment.key)
    top = voicing.soprano.midi
    if top % 12 not in classes:
        return None
    hand = [k for k in range(max(top - 14, bass.midi + 1), top) if k % 12 in classes - {top % 12}]
    keys = (bass.midi, *hand[-2:], top)
    return keys if {key % 12 for key in keys} == classes else None


def _hand_shifted(moment: Moment, voicing: Voicing, chance: Random) -> Keys | None:
    """The right hand a step of the scale beside its place."""
    upper = [p for p in (voicing.soprano, voicing.alto, voicing.tenor) if p is not None]
    if len(upper) < 3 or voicing.bass is None:
        return None
    step = chance.choice([-1, 1])
    moved = {_along(moment.key, pitch, step).midi for pitch in upper}
    return (voicing.bass.midi, *sorted(moved)) if min(moved) > voicing.bass.midi else None


_WAYS: dict[MishapKind, Callable[[Moment, Voicing, Random], Keys | None]] = {
    "bass-alone": _bass_alone,
    "accidental-forgotten": _accidental_forgotten,
    "finger-beside": _finger_beside,
    "figure-not-read": _figure_not_read,
    "bass-misread": _bass_misread,
    "hand-shifted": _hand_shifted,
}


def _classes(bass: Pitch, figuring: Figuring, key: Key) -> set[int]:
    """The pitch classes that figures ask for over a bass; none where they cannot stand."""
    try:
        asked = sonority(bass, figuring, key)
    except FigureError:
        return set()
    whole = asked.completions[0] if asked.completions else ()
    return {asked.by_number[n].name.pitch_class for n in whole if n in asked.by_number}


def _along(key: Key, pitch: Pitch, step: int) -> Pitch:
    """So many steps of the scale away."""
    letter = (pitch.name.step + step) % 7
    near = pitch.midi + (2 if abs(step) == 1 else 4) * (1 if step > 0 else -1)
    return _near(PitchName(letter, key.alter(letter)), near)


def _near(name: PitchName, key: int) -> Pitch:
    """The note of that name nearest to a key."""
    return pitch_on(name, key + (name.pitch_class - key + 6) % 12 - 6)
