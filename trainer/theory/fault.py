"""A broken rule, as data: text, marks on paper, sums in the log all come from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName, Voicing

Weight = Literal["gross", "weak", "remark"]
WEIGHTS: tuple[Weight, ...] = ("gross", "weak", "remark")  # heaviest first


@dataclass(frozen=True, slots=True)
class Fault:
    """`rule` is the rule's identifier, such as `consecutive-fifths`.

    `moments` are indices into the exercise's moments, in order: one for a fault of a chord, two
    for a fault of movement. `voices` names the offending voices, highest first. `pitches` are
    their pitches, voice by voice for each moment in turn. `text` is the sentence for the student,
    with the place; `instead` a voicing the hand can reach that avoids it, if one was sought.
    `onset` is the score time, in quarter notes, where it is heard: of the last moment, or of an
    ornament within it; None where nobody asked.
    """

    rule: str
    weight: Weight
    moments: tuple[int, ...]
    voices: tuple[VoiceName, ...]
    pitches: tuple[Pitch, ...]
    text: str
    instead: Voicing | None = None
    onset: Fraction | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Finding:
    """A broken rule before it is weighed and given its words.

    `soundings` are indices into the soundings looked at: one for a chord, two for a movement.
    `voices` and `pitches` are as in `Fault`.
    """

    rule: str
    soundings: tuple[int, ...]
    voices: tuple[VoiceName, ...]
    pitches: tuple[Pitch, ...]
