"""A pass as it is heard: events in, moments that are over out.

Every event takes the same way, in tempo and untimed: time goes by up to it, the hands take it in, a
chord that it closes finds its moment, and the clock of the pass (`Tactus` or `Patience`) says which
moments are over. Live, time also goes by without events; at the end what was heard at each moment
is gathered once more, with all that is known by then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from trainer.judging.clock import Clock, Complete, Over
from trainer.judging.heard import Heard
from trainer.judging.patience import waiting
from trainer.judging.stretch import Pauses, stretches
from trainer.judging.tactus import beating, heard_in_tempo
from trainer.judging.take import Conditions
from trainer.judging.task import Task, on_the_page
from trainer.judging.verdict import ExtraChord
from trainer.listening.capture import Capture, close, hear
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, StruckChord
from trainer.listening.trail import Trail


@dataclass(frozen=True, slots=True)
class Performed:
    """What was heard at each moment of a pass, the time to think there, and what was extra."""

    heard: tuple[Heard, ...]
    think_s: tuple[float | None, ...]
    extra: tuple[ExtraChord, ...] = ()


@dataclass(frozen=True)
class Performance:
    """A pass on its way: the hands, the clock it goes by (None: not begun), the chords closed and
    the moments over since it began. `broken` is when it was broken off, inf while it goes on.

    `sure` says whether hearing its events again would find the same: not where keys were down
    before it began, where it was broken off, or where an event came later than `decided`, the
    latest time at which something was decided because time had gone by.
    """

    task: Task
    complete: Complete
    hands: Capture = Capture()  # noqa: RUF009 (a value)
    clock: Clock | None = None
    chords: Trail[StruckChord] = Trail()  # noqa: RUF009 (a value)
    over: tuple[Over, ...] = ()
    broken: float = inf
    sure: bool = True
    decided: float = -inf


Step = tuple[Performance, tuple[Over, ...]]


def meant(event: KeyEvent, conditions: Conditions) -> KeyEvent:
    """An event as it was meant: the port's constant offset taken off, the octave shifts put on."""
    if not (conditions.latency or conditions.shift_left or conditions.shift_right):
        return event
    time = event.time - conditions.latency
    if isinstance(event, KeyDown | KeyUp):
        key = on_the_page(event.key, conditions, event.manual)
        return replace(event, time=time, key=key)
    return replace(event, time=time)


def begun(before: Performance, time: float) -> Performance:
    """The pass begins: its first moment stands (untimed: is waited for from) at clock time
    `time`. Keys that are down already stay down."""
    hands, _ = close(before.hands)
    empty = not hands.strokes.sounding and not hands.pedal
    clock = _clock(before.task, before.complete, time)
    return Performance(before.task, before.complete, hands, clock, sure=empty)


def broken_off(before: Performance, time: float) -> Performance:
    """From `time` on the hands alone are followed."""
    return replace(before, broken=time, sure=False)


def gone_on(before: Performance, first: int, time: float) -> Performance:
    """After a break: moment `first` stands (untimed: is waited for) at clock time `time`."""
    clock = None if before.clock is None else before.clock.gone_on(first, time, before.broken)
    return replace(before, clock=clock, broken=inf)


def take_in(before: Performance, event: KeyEvent) -> Step:
    """Take in one event, as meant; the moments that are over by then."""
    performance, over = time_goes_by(before, event.time)
    hands, closed = hear(performance.hands, event)
    late = event.time < before.decided
    performance = replace(performance, hands=hands, sure=performance.sure and not late)
    performance, more = _struck(performance, closed)
    if performance.clock is None or performance.broken < inf:
        return performance, over + more
    performance, last = _told(performance, performance.clock.moved(event, hands))
    return performance, over + more + last


def time_goes_by(before: Performance, now: float) -> Step:
    """What time alone brings, in its order: a moment is over, a chord closes, a moment is over."""
    performance, over = _looked(before, now)
    ends = performance.hands.closes_at
    if now < ends:
        return performance, over
    hands, closed = close(performance.hands)
    performance = replace(performance, hands=hands, decided=max(performance.decided, ends))
    performance, more = _struck(performance, closed)
    performance, last = _looked(performance, now)
    return performance, over + more + last


def perform(
    task: Task,
    events: Sequence[KeyEvent],
    origin: float,
    pauses: Pauses,
    complete: Complete,
) -> Performed:
    """Hear a whole pass; `complete` tells whether keys sounding at a moment leave nothing to do."""
    # in tempo nothing is decided before the end, and what was broken off is known by its times
    clock = _clock(task, complete, origin) if task.line is None else None
    performance = Performance(task, complete, clock=clock)
    ahead = list(reversed(pauses)) if clock is not None else []
    for event in events:
        as_meant = meant(event, task.conditions)
        while ahead and ahead[-1][0] <= as_meant.time:
            performance = broken_off(performance, ahead[-1][0])
            if as_meant.time < ahead[-1][1]:
                break
            performance = gone_on(performance, 0, ahead.pop()[1])
        performance, _ = take_in(performance, as_meant)
    return performed(performance, origin, pauses)


def performed(last: Performance, origin: float, pauses: Pauses) -> Performed:
    """What was heard in a pass that has ended; `origin` and `pauses` as in `Take`."""
    task = last.task
    clock = last.clock if task.line is None else None
    performance, _ = time_goes_by(replace(last, clock=clock, broken=inf), inf)
    if task.line is not None:
        parts = stretches(task, origin, pauses)
        hands, chords = performance.hands, performance.chords
        heard, extra = heard_in_tempo(task, performance.complete, hands, chords, parts)
        return Performed(heard, (None,) * len(heard), extra)
    assert performance.clock is not None
    over = (*performance.over, *performance.clock.given_up(performance.hands))
    at = {one.heard.index: one for one in over}
    ordered = [at.get(m.index, Over(Heard(m.index))) for m in task.moments]
    return Performed(tuple(o.heard for o in ordered), tuple(o.think_s for o in ordered))


def _clock(task: Task, complete: Complete, time: float) -> Clock:
    if task.line is None:
        return waiting(task, complete, time)
    return beating(task, complete, task.first, time)


def _struck(performance: Performance, closed: Sequence[StruckChord]) -> Step:
    """Chords find their moments, but for those begun after the pass was broken off."""
    over: tuple[Over, ...] = ()
    for chord in closed:
        performance = replace(performance, chords=performance.chords.with_one(chord))
        if performance.clock is not None and chord.first < performance.broken:
            told = performance.clock.struck(chord, performance.hands)
            performance, more = _told(performance, told)
            over += more
    return performance, over


def _looked(performance: Performance, now: float) -> Step:
    """The clock stands still while the pass is broken off."""
    if performance.clock is None:
        return performance, ()
    now = min(now, performance.broken)
    performance, over = _told(performance, performance.clock.looked(performance.hands, now))
    if over:
        performance = replace(performance, decided=max(performance.decided, now))
    return performance, over


def _told(performance: Performance, told: tuple[Clock, tuple[Over, ...]]) -> Step:
    clock, over = told
    if clock is performance.clock:
        return performance, over
    return replace(performance, clock=clock, over=performance.over + over), over
