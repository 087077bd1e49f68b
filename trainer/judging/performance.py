"""Raw events to what was heard at each moment: the whole of a pass, as it is judged at its end.

In tempo a pass may be broken off (a cable pulled, a computer asleep, the player's own wish) and go
on. It goes on with a new count-in from the beginning of the phrase it was broken off in, or, in a
phrase of more than `LONG` bars, from the beginning of the bar before; what had been played from
there on is played anew. Each piece of a pass between two breaks is a stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from trainer.judging import wait
from trainer.judging.follow import align
from trainer.judging.heard import Heard, heard
from trainer.judging.take import Conditions
from trainer.judging.task import Task, on_the_page
from trainer.judging.timing import onset
from trainer.judging.verdict import ExtraChord
from trainer.listening.capture import Capture, KeyStroke, close, hear, settle
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, StruckChord

LONG = 4  # bars
EARLY = 0.5  # beats before its first moment from which a chord belongs to a stretch

Pauses = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Performance:
    """What was heard at each moment of a pass, the time to think there, and what was extra."""

    heard: tuple[Heard, ...]
    think_s: tuple[float | None, ...]
    extra: tuple[ExtraChord, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """From moment `first` on; `origin` is the clock time the first moment of the whole pass would
    have had. What is struck from `opens` to `closes` (clock seconds) belongs to it."""

    first: int
    origin: float
    opens: float
    closes: float


def meant(event: KeyEvent, conditions: Conditions) -> KeyEvent:
    """An event as it was meant: the port's constant offset taken off, the octave shifts put on."""
    time = event.time - conditions.latency
    if isinstance(event, KeyDown | KeyUp):
        return replace(event, time=time, key=on_the_page(event.key, conditions))
    return replace(event, time=time)


def moment_at(task: Task, seconds: float) -> int:
    """The moment in force so many seconds after the first moment of the pass, in tempo."""
    assert task.line is not None
    return task.first + max(0, sum(1 for time in task.line.times if time <= seconds) - 1)


def resumption(task: Task, index: int) -> int:
    """The moment from which a pass in tempo goes on that was broken off at moment `index`."""
    moments = task.exercise.moments
    phrase = next(p for p in task.exercise.phrases if p.first <= index <= p.last)
    first = phrase.first
    if moments[phrase.last].bar - moments[first].bar >= LONG:
        bar = moments[index].bar - 1
        first = next(m.index for m in moments[first : index + 1] if m.bar >= bar)
    return max(task.first, first)


def stretch(task: Task, first: int, time: float) -> Stretch:
    """The stretch whose moment `first` stands at clock time `time`, not yet broken off."""
    assert task.line is not None
    opens = time - EARLY * task.line.beat_length(first)
    return Stretch(first, time - task.line.time(first), opens, inf)


def stretches(task: Task, origin: float, pauses: Pauses) -> tuple[Stretch, ...]:
    """A pass in tempo between its breaks; `origin` is the clock time of its first moment."""
    found = [stretch(task, task.first, origin)]
    for broken, goes_on in pauses:
        here = found[-1]
        found[-1] = replace(here, closes=broken)
        index = max(here.first, moment_at(task, broken - here.origin))
        found.append(stretch(task, max(here.first, resumption(task, index)), goes_on))
    return tuple(found)


def perform(
    task: Task,
    events: Sequence[KeyEvent],
    origin: float,
    pauses: Pauses,
    complete: wait.Complete,
) -> Performance:
    """Hear a whole pass; `complete` tells whether keys sounding at a moment leave nothing to do."""
    as_meant = [meant(event, task.conditions) for event in events]
    if task.line is None:
        return _untimed(task, as_meant, origin, pauses, complete)
    return _in_tempo(task, as_meant, stretches(task, origin, pauses), complete)


def at_moment(
    task: Task,
    index: int,
    chords: Sequence[StruckChord],
    strokes: Sequence[KeyStroke],
    origin: float,
    complete: wait.Complete,
) -> tuple[Heard, tuple[StruckChord, ...]]:
    """What is heard at a moment in tempo, and which of its chords are extra after all: those let
    go before a better timed one came, and those that came after all was complete and do not
    belong."""
    assert task.line is not None
    awaited = task.at(index)
    moment = task.exercise.moments[index]
    begins = origin + task.line.time(index)
    quarter = task.line.beat_length(index) / float(moment.metre.beat_length)
    middle = begins + float(moment.duration) * quarter / 2
    strays, chords = _strays(chords, strokes, begins)
    for count in range(1, len(chords)):
        here = heard(awaited, chords[:count], strokes, begins, chords[count].first)
        if complete(index, here.sounding):
            late = chords[count:]
            belong = [c for c in late if all(key % 12 in awaited.belonging for key in c.struck)]
            extra = tuple(chord for chord in late if chord not in belong)
            kept = (*chords[:count], *belong)
            return heard(awaited, kept, strokes, begins, middle), strays + extra
    return heard(awaited, chords, strokes, begins, middle), strays


def _strays(
    chords: Sequence[StruckChord], strokes: Sequence[KeyStroke], begins: float
) -> tuple[tuple[StruckChord, ...], tuple[StruckChord, ...]]:
    """Chords before the one nearest in time, as long as nothing of them is held into it; the
    rest."""
    if len(chords) < 2:
        return (), tuple(chords)
    distances = [abs(onset(chord) - begins) for chord in chords]
    nearest = distances.index(min(distances))
    first = chords[nearest].first
    for chord in chords[:nearest]:
        ours = [s for s in strokes if s.key in chord.struck and s.down <= chord.last]
        if any(s.held_at(first) for s in ours):
            return (), tuple(chords)
    return tuple(chords[:nearest]), tuple(chords[nearest:])


def _in_tempo(
    task: Task,
    events: Sequence[KeyEvent],
    parts: tuple[Stretch, ...],
    complete: wait.Complete,
) -> Performance:
    capture, chords = _all_chords(events)
    here: dict[int, Heard] = {}
    extra: list[ExtraChord] = []
    for number, part in enumerate(parts):
        ends = parts[number + 1].first if number + 1 < len(parts) else task.last + 1
        ours = [chord for chord in chords if part.opens <= chord.first < part.closes]
        places = align(task, ours, part.origin, part.first)
        after = part.first - 1
        for chord, place in zip(ours, places, strict=True):
            after = after if place is None else place
            if place is None:
                extra.append(_extra(after, chord, part.origin))
        for index in range(part.first, ends):
            struck = [c for c, place in zip(ours, places, strict=True) if place == index]
            found, more = at_moment(task, index, struck, capture.strokes, part.origin, complete)
            here[index] = found
            extra += [_extra(index, chord, part.origin) for chord in more]
    ordered = tuple(here[index] for index in range(task.first, task.last + 1))
    return Performance(
        ordered, (None,) * len(ordered), tuple(sorted(extra, key=lambda e: (e.at_s, e.keys)))
    )


def _extra(after: int, chord: StruckChord, origin: float) -> ExtraChord:
    return ExtraChord(after, round(chord.first - origin, 6), chord.struck)


def _all_chords(events: Sequence[KeyEvent]) -> tuple[Capture, list[StruckChord]]:
    capture = Capture()
    chords: list[StruckChord] = []
    for event in events:
        capture, closed = hear(capture, event)
        chords += closed
    capture, closed = close(capture)
    return capture, [*chords, *closed]


def _untimed(
    task: Task,
    events: Sequence[KeyEvent],
    origin: float,
    pauses: Pauses,
    complete: wait.Complete,
) -> Performance:
    desk = Untimed(wait.begin(task, origin), Capture())
    accepted: list[wait.Accepted] = []
    ahead = list(pauses)
    for event in events:
        while ahead and ahead[0][1] <= event.time:
            desk = went_on(desk, ahead.pop(0)[1])
        idle = bool(ahead) and ahead[0][0] <= event.time
        desk, more = at_desk(task, desk, event, complete, idle=idle)
        accepted += more
    desk, more = desk_looked(task, desk, inf, complete)
    accepted += more
    if desk.waiting.chords:  # broken off in the middle of an attempt
        last = desk.waiting.chords[-1].last
        accepted += wait.onward(task, desk.waiting, desk.capture.strokes, last, complete)[1]
    by_moment = {a.heard.index: a for a in accepted}
    silent = [Heard(moment.index) for moment in task.moments]
    return Performance(
        tuple(by_moment[h.index].heard if h.index in by_moment else h for h in silent),
        tuple(by_moment[h.index].think_s if h.index in by_moment else None for h in silent),
        (),
    )


@dataclass(frozen=True, slots=True)
class Untimed:
    """An untimed pass on its way: the moment waited at, and the hands."""

    waiting: wait.Waiting
    capture: Capture


def at_desk(
    task: Task, desk: Untimed, event: KeyEvent, complete: wait.Complete, *, idle: bool = False
) -> tuple[Untimed, tuple[wait.Accepted, ...]]:
    """Take in one event, as meant; `idle` while the pass is broken off."""
    desk, accepted = desk_looked(task, desk, event.time, complete)
    capture, closed = hear(desk.capture, event)
    waiting = desk.waiting
    if idle:
        return Untimed(waiting, capture), accepted
    for chord in closed:
        waiting, more = wait.struck(task, waiting, chord, capture.strokes, complete)
        accepted += more
    if isinstance(event, Onward):
        waiting, more = wait.onward(task, waiting, capture.strokes, event.time, complete)
        accepted += more
    elif isinstance(event, KeyUp):
        waiting, more = wait.look(task, waiting, capture.strokes, event.time, complete)
        accepted += more
    return Untimed(waiting, capture), accepted


def desk_looked(
    task: Task, desk: Untimed, now: float, complete: wait.Complete
) -> tuple[Untimed, tuple[wait.Accepted, ...]]:
    """What time alone brings, in its order: patience ends, a chord closes, patience ends."""
    desk, accepted = _patience(task, desk, now, complete)
    waiting = desk.waiting
    capture, closed = settle(desk.capture, now)
    for chord in closed:
        waiting, more = wait.struck(task, waiting, chord, capture.strokes, complete)
        accepted += more
    desk, more = _patience(task, Untimed(waiting, capture), now, complete)
    return desk, accepted + more


def _patience(
    task: Task, desk: Untimed, now: float, complete: wait.Complete
) -> tuple[Untimed, tuple[wait.Accepted, ...]]:
    """A chord begun before patience ends is waited for."""
    waiting, begun = desk.waiting, desk.capture.begun
    ends = inf if waiting.ready is None else waiting.ready + wait.PATIENCE
    if now < ends or (begun is not None and begun <= ends):
        return desk, ()
    waiting, accepted = wait.look(task, waiting, desk.capture.strokes, ends, complete)
    return replace(desk, waiting=waiting), accepted


def went_on(desk: Untimed, now: float) -> Untimed:
    """After a break the time to think at a moment not yet begun counts from now."""
    waiting = desk.waiting
    return desk if waiting.chords else replace(desk, waiting=replace(waiting, since=now))
