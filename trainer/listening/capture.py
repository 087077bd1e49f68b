"""Key events to struck chords.

Keys that go down within `TOGETHER` of one another are one chord. A rolled chord may take longer:
while all of its keys stay down, the next key may follow within `ROLLED`. A chord is closed when
`ROLLED` has gone by after its last key, or when a key comes that does not join it.

- A key pressed and let go again while the chord is still gathering, with another key after it,
  was a slip that was put right: it is in neither `struck` nor `held`.
- The same key twice in one chord (a doubled press) counts once, at its first time.
- Keys that were down before and still are when the chord closes are held; the fingers of the
  chord before, which leave a little late, are not.
- A key that only the sustain pedal keeps sounding is `pedalled`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import inf

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal, StruckChord

TOGETHER = 0.050  # seconds between neighbouring onsets of one chord; common practice, no source
ROLLED = 0.120  # the same while every key of the chord stays down


@dataclass(frozen=True, slots=True)
class KeyStroke:
    """One key from its press on: `up` and `silent` (pedal included) are inf while still to come."""

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
class _Gathering:
    first: float
    last: float
    struck: tuple[tuple[int, float], ...]  # key and time, in the order pressed
    released: tuple[int, ...] = ()  # struck in this chord and up again
    slips: tuple[int, ...] = ()  # of these, the ones let go before another key was pressed
    before: tuple[int, ...] = ()  # down when it began


@dataclass(frozen=True, slots=True)
class Capture:
    """What the hands are doing: `strokes` in the order pressed, the newest last."""

    strokes: tuple[KeyStroke, ...] = ()
    pedal: bool = False
    _gathering: _Gathering | None = None

    @property
    def down(self) -> tuple[int, ...]:
        """Keys held by the fingers, ascending."""
        return tuple(sorted(s.key for s in self.strokes if s.up == inf))

    @property
    def sounding(self) -> tuple[int, ...]:
        """Keys held by the fingers or the pedal, ascending."""
        return tuple(sorted({s.key for s in self.strokes if s.silent == inf}))

    @property
    def gathering(self) -> tuple[int, ...]:
        """Keys of the chord that is not closed yet, ascending."""
        return () if self._gathering is None else tuple(sorted(_struck(self._gathering)))

    @property
    def closes_at(self) -> float:
        """When the chord that is gathering will be closed, inf if none is."""
        return inf if self._gathering is None else self._gathering.last + ROLLED

    @property
    def begun(self) -> float | None:
        """The first onset of the chord that is gathering."""
        return None if self._gathering is None else self._gathering.first


def hear(capture: Capture, event: KeyEvent) -> tuple[Capture, tuple[StruckChord, ...]]:
    """Take in one event; the chords it closes (one at most, as a tuple).

    Events are expected in the order of their times; one that comes a little late is taken as it
    is, and never makes a chord longer than it was.
    """
    match event:
        case KeyDown():
            return _press(capture, event)
        case KeyUp(time, key):
            capture, closed = settle(capture, time)
            return _release(capture, key, time), closed
        case Pedal(time, down):
            capture, closed = settle(capture, time)
            strokes = capture.strokes
            if not down:
                strokes = tuple(
                    replace(s, silent=time) if s.silent == inf and s.up < inf else s
                    for s in strokes
                )
            return replace(capture, pedal=down, strokes=strokes), closed
        case Onward():
            return close(capture)


def settle(capture: Capture, now: float) -> tuple[Capture, tuple[StruckChord, ...]]:
    """Close the chord that is gathering if its time has gone by."""
    return close(capture) if now >= capture.closes_at else (capture, ())


def close(capture: Capture) -> tuple[Capture, tuple[StruckChord, ...]]:
    """Close the chord that is gathering now."""
    chord = capture._gathering
    if chord is None:
        return capture, ()
    struck = _struck(chord)
    down = set(capture.down)
    held = [key for key in chord.before if key in down and key not in struck]
    pedalled = set(capture.sounding) - down - set(struck)
    times = [time for key, time in chord.struck if key in struck]
    closed = StruckChord(
        tuple(sorted(struck)), tuple(held), tuple(sorted(pedalled)), min(times), max(times)
    )
    return replace(capture, _gathering=None), (closed,)


def struck_chords(events: Iterable[KeyEvent]) -> tuple[StruckChord, ...]:
    """All the chords of a performance."""
    chords: list[StruckChord] = []
    capture = Capture()
    for event in events:
        capture, closed = hear(capture, event)
        chords.extend(closed)
    return (*chords, *close(capture)[1])


def strokes(events: Iterable[KeyEvent]) -> tuple[KeyStroke, ...]:
    """All the keys of a performance, in the order pressed."""
    capture = Capture()
    for event in events:
        capture, _ = hear(capture, event)
    return capture.strokes


def _press(capture: Capture, event: KeyDown) -> tuple[Capture, tuple[StruckChord, ...]]:
    chord = capture._gathering
    closed: tuple[StruckChord, ...] = ()
    if chord is not None and not _joins(chord, event.time):
        capture, closed = close(capture)
        chord = None
    before = capture.down if chord is None else ()
    capture = _release(capture, event.key, event.time, again=True)
    if chord is None:
        held = tuple(key for key in before if key != event.key)
        chord = _Gathering(event.time, event.time, ((event.key, event.time),), before=held)
    else:
        released = tuple(key for key in chord.released if key != event.key)
        chord = replace(
            chord,
            released=released,
            slips=released,
            last=max(chord.last, event.time),
            struck=(*chord.struck, (event.key, event.time)),
            before=tuple(key for key in chord.before if key != event.key),
        )
    stroke = KeyStroke(event.key, event.velocity, event.time)
    return replace(capture, strokes=(*capture.strokes, stroke), _gathering=chord), closed


def _joins(chord: _Gathering, time: float) -> bool:
    gap = time - chord.last
    return gap <= TOGETHER or (gap <= ROLLED and not chord.released)


def _release(capture: Capture, key: int, time: float, *, again: bool = False) -> Capture:
    """The key goes up; `again` where it is only let go to be struck anew."""
    strokes = tuple(
        _lifted(s, time, capture.pedal and not again) if s.key == key and s.silent == inf else s
        for s in capture.strokes
    )
    chord = capture._gathering
    if chord is not None and not again and any(k == key for k, _ in chord.struck):
        chord = replace(chord, released=(*chord.released, key))
    return replace(capture, strokes=strokes, _gathering=chord)


def _lifted(stroke: KeyStroke, time: float, pedal: bool) -> KeyStroke:
    up = min(stroke.up, time)
    return replace(stroke, up=up, silent=inf if pedal else max(up, time))


def _struck(chord: _Gathering) -> tuple[int, ...]:
    """The keys that count, each once, in the order pressed."""
    return tuple(dict.fromkeys(key for key, _ in chord.struck if key not in chord.slips))
