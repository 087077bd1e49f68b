"""Right passes played with every touch: legato, hands apart; what is put in is known exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.practice.demo import realization
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.theory.hands import Hands
from trainer.theory.voicing import Voicing

PIECES = sorted(exercises_folder().glob("*.krn"))
FINGERS = 0.002  # seconds: fingers of one hand, and the clock, are not exact


@dataclass(frozen=True)
class Touch:
    """`tempo` in beats a minute. In beats: how long a finger stays down into what its own hand
    strikes next, how long after the left hand (before it: negative) the right one strikes, and how
    long after the beat the left one does."""

    tempo: float
    overlap: float = 0.0
    right: float = 0.0
    left: float = 0.0
    hands: Hands = "1+3"

    @property
    def beat(self) -> float:
        """Seconds."""
        return 60 / self.tempo


def grid(overlaps: Sequence[float], apart: Sequence[float], hands: Hands = "1+3") -> list[Touch]:
    """Every tempo with every overlap (at 120 and above up to 0.15) and hands so far apart."""
    return [
        Touch(tempo, overlap, right, hands=hands)
        for tempo in (40.0, 60.0, 80.0, 120.0, 160.0)
        for overlap in overlaps
        if tempo < 120 or overlap <= 0.15
        for right in apart
    ]


def played(
    exercise: Exercise, voicings: Sequence[Voicing], touch: Touch, origin: float, seed: int = 0
) -> list[KeyEvent]:
    """Key events of a whole pass, ascending. A key that comes again is let go a little before."""
    chance = Random(seed)
    quarter = touch.beat / float(exercise.metre.beat_length)
    events: list[KeyEvent] = []
    for moment, voicing in zip(exercise.moments, voicings, strict=True):
        keys = sorted({pitch.midi for pitch in voicing if pitch is not None})
        following = voicings[moment.index + 1] if moment.index + 1 < len(voicings) else None
        kept = set() if following is None else {p.midi for p in following if p is not None}
        next_lefts = set() if following is None else _lefts(following, touch)
        begins = origin + float(moment.onset) * quarter
        ends = begins + float(moment.duration) * quarter
        lefts = _lefts(voicing, touch)
        for key in keys:
            hand = touch.left * touch.beat + (0.0 if key in lefts else touch.right * touch.beat)
            late = hand + chance.uniform(0.0, FINGERS)
            stays = 0.0 if following is None else touch.overlap * touch.beat
            again = -min(0.08, 0.2 * touch.beat, 0.3 * (ends - begins))
            # the hand that strikes it next may not be the one that holds it
            next_hand = touch.left + (0.0 if key in next_lefts else touch.right)
            up = ends + (next_hand * touch.beat + again if key in kept else hand + stays)
            events += [KeyDown(begins + late, key, 70), KeyUp(up + late - hand, key)]
    return sorted(events, key=lambda event: event.time)


def _lefts(voicing: Voicing, touch: Touch) -> set[int]:
    own = (voicing.bass, voicing.tenor if touch.hands == "2+2" else None)
    return {pitch.midi for pitch in own if pitch is not None}


def conditions(touch: Touch) -> Conditions:
    return Conditions(tempo=touch.tempo, hands=touch.hands)


def with_best(name: str) -> tuple[Exercise, tuple[Voicing, ...]]:
    """A piece, or a drill in a key (`chain-9-8-by-step@C`), and a right way to play it."""
    exercise = Library().find(name)
    return exercise, realization(exercise, Conditions())
