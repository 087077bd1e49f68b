"""A pass over the hymn with faults of every form, for looking at and testing marks."""

from __future__ import annotations

from trainer.judging.verdict import Harmony, MomentVerdict, Movement, PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault, Weight
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName, Voicing


def pitches(text: str) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(word) for word in text.split())


def fault(rule: str, weight: Weight, moments: tuple[int, ...], voices: str, notes: str) -> Fault:
    names: dict[str, VoiceName] = {"s": "soprano", "a": "alto", "t": "tenor", "b": "bass"}
    return Fault(
        rule, weight, moments, tuple(names[v] for v in voices), pitches(notes), f"{rule} here"
    )


def verdict_of(exercise: Exercise, middles: list[str], faults: list[Fault]) -> PassVerdict:
    """`middles` holds alto and tenor of each moment, empty for nothing played."""
    verdicts = []
    for moment, middle in zip(exercise.moments, middles, strict=False):
        voicing = None
        if middle:
            alto, tenor = pitches(middle)
            voicing = Voicing(moment.melody, alto, tenor, moment.bass)
        verdicts.append(
            MomentVerdict(moment.index, "complete" if voicing else "not-played", (), voicing)
        )
    return PassVerdict(
        tuple(verdicts), tuple(faults), Harmony(11, 12), None, Movement(1, 2, 0, 9, 11)
    )
