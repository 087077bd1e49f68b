"""What happens to people at one chord, put into keys that are right: each with its cause."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

from trainer.judging.causes import CauseKind
from trainer.judging.judge import Judge
from trainer.theory.figures import NOTHING
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch, PitchName, pitch_on
from trainer.theory.sonority import sonority
from trainer.theory.voicing import Voicing

Keys = tuple[int, ...]
Mishap = Callable[[Judge, int, Voicing, Random], Keys | None]  # None: cannot happen there


def bass_alone(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    assert voicing.bass is not None
    return (voicing.bass.midi,)


def accidental_forgotten(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    """Every note of that name as the signature has it."""
    key = judge.moments[index].key
    given = {p.name for p in (judge.moments[index].bass, judge.moments[index].melody) if p}
    altered = [
        p
        for p in (voicing.alto, voicing.tenor)
        if p is not None and p.name.alter != key.alter(p.name.step) and p.name not in given
    ]
    if len({p.name for p in altered}) != 1 or len(altered) != 1:
        return None
    plain = PitchName(altered[0].name.step, key.alter(altered[0].name.step))
    return tuple(_near(plain, p.midi).midi if p == altered[0] else p.midi for p in voicing if p)


def finger_beside(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    """A middle finger on the next key of the scale; where that makes the plain triad, nobody can
    tell it from a figure that was not read."""
    which = chance.choice(["alto", "tenor"])
    pitch = getattr(voicing, which)
    if pitch is None:
        return None
    moved = _along(judge.moments[index].key, pitch, chance.choice([-1, 1])).midi
    others = [p.midi for p in voicing if p is not None]
    if moved in others:
        return None
    others.remove(pitch.midi)
    keys = tuple(sorted([*others, moved]))
    moment = judge.moments[index]
    assert moment.bass is not None
    plain = sonority(moment.bass, NOTHING, moment.key).by_number
    triad = {plain[n].name.pitch_class for n in (1, 3, 5)}
    return None if {key % 12 for key in keys} <= triad else keys


def figure_not_read(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    """The triad of the bass, as near to the hand as it goes; under an accidental alone that is the
    accidental forgotten."""
    moment = judge.moments[index]
    if (
        str(moment.figuring) in ("", "#", "b", "n")
        or moment.bass is None
        or voicing.soprano is None
    ):
        return None
    triad = sonority(moment.bass, NOTHING, moment.key).completions[0]
    names = sonority(moment.bass, NOTHING, moment.key).by_number
    classes = {names[n].name.pitch_class for n in triad if n in names}
    top = voicing.soprano.midi
    if top % 12 not in classes:
        return None
    hand = [k for k in range(top - 11, top) if k % 12 in classes and k > moment.bass.midi]
    return (moment.bass.midi, *hand[-2:], top) if len(hand) > 1 else None


def bass_misread(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    """A line or a space too high or low, the figures over it, under the melody that is written."""
    moment = judge.moments[index]
    if moment.bass is None or voicing.soprano is None:
        return None
    bass = _along(moment.key, moment.bass, chance.choice([-2, -1, 1, 2]))
    try:
        over = sonority(bass, moment.figuring, moment.key)
    except Exception:
        return None
    if not over.completions:
        return None
    classes = {over.by_number[n].name.pitch_class for n in over.completions[0]}
    top = voicing.soprano.midi
    if top % 12 not in classes:
        return None
    hand = [k for k in range(top - 14, top) if k % 12 in classes - {top % 12}]
    hand = [k for k in hand if k > bass.midi]
    keys = (bass.midi, *hand[-3:], top)
    return keys if {k % 12 for k in keys} == classes else None


def hand_shifted(judge: Judge, index: int, voicing: Voicing, chance: Random) -> Keys | None:
    """The right hand a step of the scale beside its place."""
    if None in voicing or voicing.bass is None:
        return None
    step = chance.choice([-1, 1])
    upper = [_along(judge.moments[index].key, p, step).midi for p in tuple(voicing)[:3] if p]
    if min(upper) <= voicing.bass.midi:
        return None
    return (voicing.bass.midi, *sorted(set(upper)))


MISHAPS: dict[CauseKind, Mishap] = {
    "bass-alone": bass_alone,
    "accidental-forgotten": accidental_forgotten,
    "finger-beside": finger_beside,
    "figure-not-read": figure_not_read,
    "bass-misread": bass_misread,
    "hand-shifted": hand_shifted,
}


def _along(key: Key, pitch: Pitch, step: int) -> Pitch:
    """So many steps of the scale away."""
    letter = (pitch.name.step + step) % 7
    near = pitch.midi + (2 if abs(step) == 1 else 4) * (1 if step > 0 else -1)
    return _near(PitchName(letter, key.alter(letter)), near)


def _near(name: PitchName, key: int) -> Pitch:
    """The note of that name nearest to a key."""
    return pitch_on(name, key + (name.pitch_class - key + 6) % 12 - 6)


def mishap(
    judge: Judge, voicings: Sequence[Voicing], kind: CauseKind, chance: Random
) -> tuple[int, Keys] | None:
    """A moment of a piece where that can happen, and the keys of it; None where it nowhere can."""
    places = [m.index for m in judge.moments if m.chord and m.bass is not None]
    chance.shuffle(places)
    for index in places:
        keys = MISHAPS[kind](judge, index, voicings[index], chance)
        if keys is not None and not judge.complete(index, keys):
            return index, keys
    return None
