"""Keys from their press to their last sound, asked by key and time.

A performance may be long and a keyboard may run wild; whether a key was down at some time is found
by a search among the strokes of that key, never by going through all that was played.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import inf

from trainer.listening.trail import Trail


@dataclass(frozen=True, slots=True)
class KeyStroke:
    """One key from its press on, by its place (`trainer.listening.manuals`): `up` and `silent`
    (pedal included) are inf while still to come."""

    key: int
    velocity: int
    down: float
    up: float = inf
    silent: float = inf

    def held_at(self, time: float) -> bool:
        return self.down <= time < self.up

    def sounding_at(self, time: float) -> bool:
        return self.down <= time < self.silent


@dataclass(frozen=True, slots=True)
class Strokes:
    """Every stroke of a performance so far: one that still sounds for each key at most, and those
    that have ended, both by key."""

    sounding: Mapping[int, KeyStroke] = field(default_factory=dict)
    ended: Mapping[int, Trail[KeyStroke]] = field(default_factory=dict)

    @property
    def keys(self) -> Iterable[int]:
        """Every key that has been pressed."""
        return {**self.ended, **self.sounding}

    def latest(self, key: int, time: float) -> KeyStroke | None:
        """The last stroke of a key begun by then."""
        now = self.sounding.get(key)
        if now is not None and now.down <= time:
            return now
        past = self.ended.get(key, NO_STROKES)
        if past and past[-1].down <= time:
            return past[-1]
        begun = bisect_right(past, time, key=_begins)
        return past[begun - 1] if begun else None

    def held(self, key: int, time: float) -> bool:
        """Whether a finger held the key then."""
        stroke = self.latest(key, time)
        return stroke is not None and stroke.held_at(time)

    @property
    def held_now(self) -> tuple[int, ...]:
        """Keys the fingers hold, ascending."""
        return tuple(sorted(key for key, stroke in self.sounding.items() if stroke.up == inf))

    def pressed(self, stroke: KeyStroke) -> Strokes:
        """With one more key down; what sounded of the same key has ended."""
        before = self.silenced((stroke.key,), stroke.down)
        return Strokes({**before.sounding, stroke.key: stroke}, before.ended)

    def lifted(self, key: int, time: float, pedal: bool) -> Strokes:
        """With the finger off a key; the pedal, if it is down, keeps it sounding."""
        stroke = self.sounding.get(key)
        if stroke is None or stroke.up < inf:
            return self
        if not pedal:
            return self.silenced((key,), time)
        kept = KeyStroke(key, stroke.velocity, stroke.down, time)
        return Strokes({**self.sounding, key: kept}, self.ended)

    def unpedalled(self, time: float) -> Strokes:
        """With the pedal up: what it alone kept sounding has ended."""
        kept = [key for key, stroke in self.sounding.items() if stroke.up < inf]
        return self.silenced(kept, time)

    def silenced(self, keys: Iterable[int], time: float) -> Strokes:
        """With these keys at an end, held or pedalled until then."""
        ending = [self.sounding[key] for key in keys if key in self.sounding]
        if not ending:
            return self
        sounding, ended = dict(self.sounding), dict(self.ended)
        for stroke in ending:
            key, up = stroke.key, min(stroke.up, time)
            del sounding[key]
            whole = KeyStroke(key, stroke.velocity, stroke.down, up, max(up, time))
            ended[key] = ended.get(key, NO_STROKES).with_one(whole)
        return Strokes(sounding, ended)


NO_STROKES: Trail[KeyStroke] = Trail()


def _begins(stroke: KeyStroke) -> float:
    return stroke.down
