"""A player who gets stuck, leaves the keys, and begins again from an earlier bar."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

from trainer.errors import InputError
from trainer.judging.task import Task
from trainer.listening.events import KeyDown, KeyEvent, KeyUp

HELD = 0.7  # of a beat for which the chord one gets stuck at is held
Playing = Callable[[float, int, int], Sequence[KeyEvent]]  # origin, from which moment, seed


def begun_again(
    asked: Task,
    playing: Playing,
    anew: Playing,
    origin: float,
    seed: int,
    begins: int,
    stuck: int,
    first: int | None = None,
    breath: float | None = None,
) -> tuple[KeyEvent, ...]:
    """Play from moment `begins` until stuck at moment `stuck`, then from moment `first` (as usual,
    from the beginning of the bar) to the end, after `breath` beats (as usual one to three): the
    second time as `anew` has it.

    Raises InputError where there is no beat to follow, or nothing to begin again from.
    """
    if asked.line is None or "bass" in asked.conditions.supply:
        raise InputError(
            "nobody begins again where the program waits, or plays the bass itself",
            remedy="give a tempo, and the bass to the player",
        )
    first = bar_of(asked, stuck) if first is None else first
    if not begins <= first < stuck:
        raise InputError(
            f"at moment {stuck} there is nothing to begin again from", remedy="choose a later one"
        )
    beat = asked.line.beat_length(stuck)
    left = asked.line.time(stuck) + HELD * beat
    breath = Random(f"breath {seed} {stuck}").uniform(1.0, 3.0) if breath is None else breath
    before = [e for e in playing(origin, begins, seed) if e.time < origin + left]
    down: dict[int, bool] = {}
    for event in before:
        if isinstance(event, KeyDown | KeyUp):
            down[event.key] = isinstance(event, KeyDown)
    leaving = [KeyUp(origin + left, key) for key, is_down in down.items() if is_down]
    later = origin + left + breath * beat - asked.line.time(first)
    return (*before, *leaving, *anew(later, first, seed + 1))


def bar_of(asked: Task, stuck: int) -> int:
    """The first chord of the bar of a moment; of the bar before, if it is that itself."""
    moments = asked.exercise.moments
    bars = {m.bar: m.index for m in reversed(asked.moments) if asked.at(m.index).wanted}
    own = bars.get(moments[stuck].bar, asked.first)
    earlier = [index for index in bars.values() if index < own]
    return own if own < stuck else max(earlier, default=own)
