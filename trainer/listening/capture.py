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

Keys are told apart by their places (`trainer.listening.manuals`): one pitch on two manuals is two
keys.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import inf

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal, StruckChord
from trainer.listening.manuals import placed
from trainer.listening.strokes import KeyStroke, Strokes

TOGETHER = 0.050  # seconds between neighbouring onsets of one chord; common practice, no source
ROLLED = 0.120  # the same while every key of the chord stays down


@dataclass(frozen=True, slots=True)
class _Gathering:
    """A chord not closed yet. Whatever is sent, it holds each key once."""

    first: float
    last: float
    struck: Mapping[int, tuple[float, float]]  # key to its earliest and latest press
    released: frozenset[int] = frozenset()  # struck in this chord and up again
    slips: frozenset[int] = frozenset()  # of these, the ones let go before another key was pressed
    before: tuple[int, ...] = ()  # down when it began

    @property
    def counted(self) -> list[int]:
        """The keys that count, ascending."""
        return sorted(self.struck.keys() - self.slips)


@dataclass(frozen=True, slots=True)
class Capture:
    """What the hands are doing, and every key they have pressed."""

    strokes: Strokes = field(default_factory=Strokes)
    pedal: bool = False
    _gathering: _Gathering | None = None

    @property
    def down(self) -> tuple[int, ...]:
        """Places of the keys held by the fingers, ascending."""
        return self.strokes.held_now

    @property
    def sounding(self) -> tuple[int, ...]:
        """Places of the keys held by the fingers or the pedal, ascending."""
        return tuple(sorted(self.strokes.sounding))

    @property
    def gathering(self) -> tuple[int, ...]:
        """Places of the keys of the chord that is not closed yet, ascending."""
        return () if self._gathering is None else tuple(self._gathering.counted)

    @property
    def closes_at(self) -> float:
        """When the chord that is gathering will be closed, inf if none is."""
        return inf if self._gathering is None else self._gathering.last + ROLLED

    @property
    def begun(self) -> float:
        """The first onset of the chord that is gathering, inf if none is."""
        return inf if self._gathering is None else self._gathering.first


def hear(capture: Capture, event: KeyEvent) -> tuple[Capture, tuple[StruckChord, ...]]:
    """Take in one event; the chords it closes (one at most, as a tuple).

    Events are expected in the order of their times; one that comes a little late is taken as it
    is, and never makes a chord longer than it was. An event costs the same whatever was played
    before it: no more than the keys that are down.
    """
    match event:
        case KeyDown():
            return _press(capture, event)
        case KeyUp(time, key, manual):
            capture, closed = settle(capture, time)
            return _release(capture, placed(key, manual), time), closed
        case Pedal(time, down):
            capture, closed = settle(capture, time)
            strokes = capture.strokes if down else capture.strokes.unpedalled(time)
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
    struck, down = chord.counted, set(capture.down)
    pedalled = capture.strokes.sounding.keys() - down - {*struck}
    closed = StruckChord(
        tuple(struck),
        tuple(sorted(down & {*chord.before} - {*struck})),
        tuple(sorted(pedalled)),
        min(chord.struck[key][0] for key in struck),
        max(chord.struck[key][1] for key in struck),
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


def _press(capture: Capture, event: KeyDown) -> tuple[Capture, tuple[StruckChord, ...]]:
    chord, place = capture._gathering, placed(event.key, event.manual)
    closed: tuple[StruckChord, ...] = ()
    if chord is not None and not _joins(chord, event.time):
        capture, closed = close(capture)
        chord = None
    if chord is None:
        held = tuple(key for key in capture.down if key != place)
        chord = _Gathering(event.time, event.time, {place: (event.time,) * 2}, before=held)
    else:
        chord = _joined(chord, place, event.time)
    strokes = capture.strokes.pressed(KeyStroke(place, event.velocity, event.time))
    return Capture(strokes, capture.pedal, chord), closed


def _joins(chord: _Gathering, time: float) -> bool:
    gap = time - chord.last
    return gap <= TOGETHER or (gap <= ROLLED and not chord.released)


def _joined(chord: _Gathering, key: int, time: float) -> _Gathering:
    earliest, latest = chord.struck.get(key, (time, time))
    released = chord.released - {key}
    return _Gathering(
        chord.first,
        max(chord.last, time),
        {**chord.struck, key: (min(earliest, time), max(latest, time))},
        released,
        released,
        tuple(k for k in chord.before if k != key) if key in chord.before else chord.before,
    )


def _release(capture: Capture, key: int, time: float) -> Capture:
    strokes, chord = capture.strokes.lifted(key, time, capture.pedal), capture._gathering
    if chord is not None and key in chord.struck and key not in chord.released:
        chord = replace(chord, released=chord.released | {key})
    elif strokes is capture.strokes:  # a key that was not down: nothing has changed
        return capture
    return Capture(strokes, capture.pedal, chord)
