"""What counts as heard at a moment, from the chords struck for it and the keys held through it.

- The last chord struck for a moment, with what is held, is what the player means.
- A key of an earlier chord that was let go before the last one is a note put right if it
  contradicts the figuring, and still counts if it belongs and a voice is wanting (a rolled chord
  whose keys do not stay down, hands that come apart).
- A key held over from the moment before is a finger leaving late, if it leaves before half of the
  moment is over or, in tempo, before `LEAVING` after the last key that was struck (legato; common
  practice, no source), and does not count; but if the chord itself is let go sooner, what lay over
  until then was part of it.
- As long as it stays, it is a held tone if it is asked for and a voice is still wanting, between
  the bass and the melody that were struck. If not, from then on it stands for a voice that is
  wanting, or, where none is, it is overheld: a finger that should have left.
- Where nothing was struck, held keys count if the player was to strike neither bass nor melody.
- A key that only the pedal keeps sounding belongs to the harmony in the same way, but to no voice.
- Of many chords struck for one moment the first gives its time; of the others the latest
  `RECALLED` are looked back on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import inf

from trainer.judging.task import Awaited
from trainer.judging.timing import onset
from trainer.listening.capture import ROLLED
from trainer.listening.events import StruckChord
from trainer.listening.strokes import Strokes

LEAVING = 0.35  # beats: a quarter is as much as good legato overlaps, and the clock is not exact
RECALLED = 32  # chords struck for one moment that are looked back on; no hand means more
ONE_CHORD = 1.0  # seconds after the first key in which what is struck is still the same chord


@dataclass(frozen=True, slots=True)
class Heard:
    """Keys heard at a moment, as places (`trainer.listening.manuals`), ascending: `keys` under the
    fingers, `pedalled` by the pedal only; `struck` are those of `keys` that were pressed for this
    moment. `overheld` are keys from before that stay down too long beside them.

    `attack` are the keys first struck for it, each with its clock time in seconds; `onset` is that
    of the first chord and `spread` the seconds from first to last key, None where nothing was
    struck.
    """

    index: int
    keys: tuple[int, ...] = ()
    struck: tuple[int, ...] = ()
    pedalled: tuple[int, ...] = ()
    overheld: tuple[int, ...] = ()
    onset: float | None = None
    spread: float | None = None
    attack: tuple[tuple[int, float], ...] = ()

    @property
    def sounding(self) -> tuple[int, ...]:
        """All that counts for the harmony."""
        return tuple(sorted({*self.keys, *self.pedalled}))


def heard(
    awaited: Awaited,
    chords: Sequence[StruckChord],
    strokes: Strokes,
    begins: float,
    middle: float,
    now: float = inf,
    leaving: float = 0.0,
) -> Heard:
    """What is heard at a moment; `chords` are the ones struck for it, in order, `strokes` all that
    was played. `begins` is its clock time in seconds, `middle` when half of it is over, `leaving`
    for how many seconds after the last key a finger may stay that does not belong.

    While the moment still goes on, `now` is the time: a foreign key held over from before does not
    count yet if it is to count from a later time on."""
    if not chords:
        if now == inf and (awaited.bass is not None or awaited.melody is not None):
            return Heard(awaited.index)
        kept = _kept(awaited, (), (), strokes, begins, middle, now)
        keys = kept.lying | kept.staying
        return Heard(awaited.index, tuple(sorted(keys)), (), tuple(sorted(kept.pedalled - keys)))
    first, last = chords[0].first, chords[-1].last
    middle = max(middle, last)
    earlier = _latest_first(chords)
    pressed = {key for chord in chords for key in chord.struck}
    down = {key for key in earlier if _still_meant(awaited, strokes, key, last, middle)}
    struck = {*chords[-1].struck, *down}
    leaves = max(middle, last + leaving)
    kept = _kept(awaited, struck, pressed, strokes, last, leaves, now)
    belonging = (key for key in earlier if key % 12 in awaited.belonging)
    struck |= _to_fill(belonging, struck | kept.lying, awaited.voices)
    keys = struck | kept.lying
    overheld = kept.staying if len(keys) >= awaited.voices else set()
    keys |= kept.staying - overheld
    return Heard(
        awaited.index,
        tuple(sorted(keys)),
        tuple(sorted(struck)),
        tuple(sorted(kept.pedalled - keys)),
        tuple(sorted(overheld)),
        onset(chords[0]),
        max([chords[0].last, *_at_once(chords, first)]) - first,
        _attack(awaited, chords, strokes),
    )


def _at_once(chords: Sequence[StruckChord], first: float) -> Iterator[float]:
    """The ends of the chords that are still one with what was struck `first`."""
    return (chord.last for chord in chords if chord.last - first <= ONE_CHORD)


def _attack(
    awaited: Awaited, chords: Sequence[StruckChord], strokes: Strokes
) -> tuple[tuple[int, float], ...]:
    """The keys with which the moment was first struck, by place: those of the first chord, and what
    completes it before a key is struck again; what comes after is put right or added."""
    times: dict[int, float] = {}
    for chord in chords:
        full = len(times) >= awaited.voices or any(key in times for key in chord.struck)
        if times and (full or chord.first - chords[0].first > ONE_CHORD):
            break
        for key in chord.struck:
            stroke = strokes.latest(key, chord.last)
            times[key] = chord.first if stroke is None else stroke.down
    return tuple(sorted(times.items()))


def _latest_first(chords: Sequence[StruckChord]) -> list[int]:
    """The keys of the chords before the last, each once, the latest first."""
    earlier = chords[-RECALLED:-1]
    return list(dict.fromkeys(k for chord in reversed(earlier) for k in reversed(chord.struck)))


def _still_meant(awaited: Awaited, strokes: Strokes, key: int, last: float, middle: float) -> bool:
    """Whether a key of an earlier chord is held into the last one, and belongs or stays."""
    belongs = key % 12 in awaited.belonging
    return strokes.held(key, last) and (belongs or strokes.held(key, middle))


def _to_fill(belonging: Iterator[int], keys: set[int], voices: int) -> set[int]:
    """As many further keys as voices are wanting."""
    filling: set[int] = set()
    for key in belonging:
        if len(keys | filling) >= voices:
            break
        filling.add(key)
    return filling


@dataclass(frozen=True, slots=True)
class _Kept:
    """Keys from before: held by fingers where they may be one voice of what was struck, or where
    they may not, and held by the pedal only."""

    lying: set[int]
    staying: set[int]
    pedalled: set[int]


def _kept(
    awaited: Awaited,
    struck: Collection[int],
    pressed: Collection[int],
    strokes: Strokes,
    begins: float,
    middle: float,
    now: float,
) -> _Kept:
    settled = begins + ROLLED
    middle = max(middle, settled)
    ups = (stroke.up for key in struck if (stroke := strokes.latest(key, begins)) is not None)
    # a tone that lies over goes with the chord, if that is let go sooner
    leaves = max(settled, min(middle, min(ups, default=0.0) - ROLLED))
    kept = _Kept(set(), set(), set())
    for key in strokes.keys:
        stroke = None if key in pressed else strokes.latest(key, begins)
        if stroke is None:
            continue
        lies_over = _lies_over(awaited, struck, key)
        if not lies_over and middle > now:
            continue
        at = leaves if lies_over else middle
        if stroke.held_at(at):
            (kept.lying if lies_over else kept.staying).add(key)
        elif stroke.sounding_at(at):
            kept.pedalled.add(key)
    return kept


def _lies_over(awaited: Awaited, struck: Collection[int], key: int) -> bool:
    """Whether a key from before may be one voice of what was struck."""
    if key % 12 not in awaited.asked:
        return False
    if not struck:
        return True
    below = awaited.bass is not None and key < min(struck)
    above = awaited.melody is not None and key > max(struck)
    return len(struck) < awaited.voices and not below and not above
