"""How hard a piece is to realize, as one number made of six that can be read by themselves.

The course order is a teacher's opinion and is not asked here. The number says how much there is
to read and how little room is left for the hand:

figurings    per chord, what the eye and the hand have to do beyond a triad: 1 for a figuring
             that is written, 1 for each dissonance in it, 1 for each accidental or stroke, and
             1 where the figuring changes over a bass that stays; and a fifth for each different
             figuring in the piece
key          the sharps or flats of the signature, half a point for minor, two for the old modes
bass         the share of bass notes reached by a leap of more than a third
paths        how little freedom there is: 6 minus the number of bits one chord leaves open, that
             is log2 of the count of legal realizations over the number of chords, at least 0
position     how far the right hand's middle voices travel from chord to chord in the best
             realization, in letters a voice
pace         chords in a second at the written tempo

The weights below are our own; a test compares the order they give with the course.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from math import log2

from trainer.score.exercise import Exercise
from trainer.theory.moment import Moment
from trainer.theory.realize import Solver
from trainer.theory.sonority import Sonority, sonorities

WEIGHTS: dict[str, float] = {
    "figurings": 10.0,
    "key": 2.0,
    "bass": 4.0,
    "paths": 1.5,
    "position": 4.0,
    "pace": 2.0,
}
_MODES = {"major": 0.0, "minor": 0.5}  # the others have a final where none is expected


@dataclass(frozen=True, slots=True)
class Difficulty:
    """The six measures of the module's head, each 0 for what costs nothing."""

    figurings: float
    key: float
    bass: float
    paths: float
    position: float
    pace: float

    @property
    def value(self) -> float:
        """The weighted sum: about 15 for a phrase in triads, 45 for a chromatic chorale."""
        return float(sum(WEIGHTS[part.name] * getattr(self, part.name) for part in fields(self)))


def difficulty(exercise: Exercise) -> Difficulty:
    """Measure a piece; raises NoVoicingError if it cannot be realized at all."""
    moments = exercise.moments
    sounds = sonorities(moments, exercise.struck_five_is_diminished)
    solver = Solver(moments, struck_five_is_diminished=exercise.struck_five_is_diminished)
    best = solver.best()[0].voicings
    chords = [m for m in moments if m.chord]
    written = {str(m.figuring) for m in chords if m.figured}
    burden = sum(_burden(m, sounds[m.index], moments) for m in chords) / len(chords)
    key = exercise.key
    travelled = [
        abs(a.height - b.height)
        for before, after in pairwise(best)
        for a, b in ((before.alto, after.alto), (before.tenor, after.tenor))
        if a is not None and b is not None
    ]
    seconds = float(exercise.length / exercise.metre.beat_length) * 60 / exercise.tempo
    return Difficulty(
        figurings=burden + len(written) / 5,
        key=abs(key.signature) + _MODES.get(key.mode, 2.0),
        bass=_leaps(moments),
        paths=max(0.0, 6 - log2(max(1, solver.count())) / len(chords)),
        position=sum(travelled) / max(1, len(travelled)),
        pace=len(chords) / seconds,
    )


def _burden(moment: Moment, sonority: Sonority, moments: tuple[Moment, ...]) -> float:
    if not moment.figured or not moment.figuring.figures:
        return 0.0
    dissonances = sum(member.dissonant for member in sonority.members)
    signs = sum(figure.sign is not None for figure in moment.figuring.figures)
    over_held = moment.index > 0 and not moment.bass_struck
    return 1.0 + dissonances + signs + over_held


def _leaps(moments: tuple[Moment, ...]) -> float:
    basses = [m.bass for m in moments if m.bass is not None and m.bass_struck]
    if len(basses) < 2:
        return 0.0
    leaps = sum(abs(b.height - a.height) > 2 for a, b in pairwise(basses))
    return leaps / (len(basses) - 1)
