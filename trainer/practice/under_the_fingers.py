"""What every key that is down counts for: what a picture of the keys is drawn from.

A key is down whatever has been heard of it; what it counts for is said by what is heard
(`Session.open`), so that page, lens and keys cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from trainer.listening.manuals import keys_at
from trainer.practice.accompany import supplied
from trainer.practice.session import Session

Counts = Literal["leaving", "given", "added", "foreign"]


def under_the_fingers(session: Session) -> Mapping[int, Counts]:
    """Every key (a MIDI note number) that is down, by hand or by the program. `leaving` counts at
    no open moment: it lies over from before. `given` is a written voice, `added` belongs to the
    figuring, `foreign` does not (said only while a pass goes on)."""
    places = session.capture.down
    found: dict[int, Counts] = dict.fromkeys(keys_at(places), "leaving")
    for heard in session.open:
        counting = keys_at(place for place in heard.keys if place in places)
        found |= {key: _counts(session, heard.index, key) for key in counting}
        found |= dict.fromkeys(keys_at(heard.overheld), "foreign")
    if session.stage == "playing":
        for key in supplied(session.task, session.current):
            found.setdefault(key, "given")
    return found


def _counts(session: Session, index: int, key: int) -> Counts:
    moment, sonority = session.exercise.moments[index], session.judge.sonorities[index]
    if key in {p.midi for p in (moment.bass, moment.melody) if p is not None}:
        return "given"
    playing = session.stage == "playing" and sonority.bass is not None
    belongs = key % 12 in sonority.belonging_pitch_classes
    return "foreign" if playing and not belongs else "added"
