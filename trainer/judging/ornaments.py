"""Ornaments on the beat: the chord under passing notes, turns and unwritten suspensions."""

from __future__ import annotations

from trainer.theory.dissonance import Passage
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import UPPER, VoiceName, Voicing


def unadorned(passage: Passage, start: int) -> Voicing:
    """The chord that begins at sounding `start`, each upper voice's ornament replaced by its goal.

    An ornament is a note outside the sonority that its voice had already or reached by step, and
    leaves by step to a note of the sonority before the next moment.
    """
    sounding = passage.soundings[start]
    names = passage.sonorities[sounding.moment].names
    goals: dict[VoiceName, Pitch | None] = {}
    for voice in UPPER:
        pitch = sounding.voicing[voice]
        goals[voice] = pitch
        if pitch is None or pitch.name in names or not _entered_by_step(passage, start, voice):
            continue
        for later in passage.soundings[start + 1 :]:
            goal = later.voicing[voice]
            if later.moment != sounding.moment or goal is None:
                break
            if goal != pitch:
                if abs(goal.height - pitch.height) == 1 and goal.name in names:
                    goals[voice] = goal
                break
    return Voicing(goals["soprano"], goals["alto"], goals["tenor"], sounding.voicing.bass)


def _entered_by_step(passage: Passage, start: int, voice: VoiceName) -> bool:
    pitch = passage.soundings[start].voicing[voice]
    before = passage.soundings[start - 1].voicing[voice] if start else None
    return pitch is not None and before is not None and abs(before.height - pitch.height) <= 1
