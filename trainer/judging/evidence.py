"""What a wrong chord says of its figuring: whether that was not known, or nothing at all.

A teacher does not set a figure again because a finger fell beside its key. Common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from trainer.judging.verdict import Cause, Why


@dataclass(frozen=True, slots=True)
class Evidence:
    """Whether a chord that went wrong in this way says that its figuring was missed, in tempo and
    at leisure (untimed), and why a teacher thinks so."""

    in_tempo: bool
    at_leisure: bool
    reason: str


EVIDENCE: Mapping[Why, Evidence] = {
    "bass-alone": Evidence(True, True, "what the hand does not find in time it does not know yet"),
    "held-on": Evidence(True, True, "the figure was not seen, or not understood"),
    "accidental-forgotten": Evidence(True, True, "the accidental is part of what is to be read"),
    "figure-not-read": Evidence(True, True, "another figure was played"),
    "bass-misread": Evidence(
        False, False, "the figure was realized rightly, over another bass: that is what was misread"
    ),
    "finger-beside": Evidence(
        False, True, "in tempo a finger slips; who has time hears it, unless the ear knew no better"
    ),
    "hand-shifted": Evidence(
        False, True, "in tempo a hand lands beside; who has time hears it, or knew no better"
    ),
    "an-octave-away": Evidence(True, True, "it makes no chord wrong: another thing did"),
}


def whys(causes: Iterable[Cause]) -> Mapping[int, Why]:
    """The causes of wrong chords, by their moments."""
    return {cause.moment: cause.kind for cause in causes if cause.kind != "fault"}


def missed(why: Why | None, *, in_tempo: bool) -> bool:
    """Whether a wrong chord of this cause (None: of none that is known) says that its figuring was
    missed; where it does not, the figuring was not answered at all."""
    if why is None:
        return True
    return EVIDENCE[why].in_tempo if in_tempo else EVIDENCE[why].at_leisure
