"""What counts as heard at a moment, from the chords struck for it and the keys held through it.

- The last chord struck for a moment, with what is held, is what the player means.
- A key of an earlier chord that was let go before the last one is a note put right if it
  contradicts the figuring, and still counts if it belongs and a voice is wanting (a rolled chord
  whose keys do not stay down, hands that come apart).
- A key held over from the moment before counts as a held tone if it belongs. If it does not, it
  counts from half of the moment on: before that, it is a finger leaving late.
- Where nothing was struck, held keys count if the player was to strike neither bass nor melody.
- A key that only the pedal keeps sounding belongs to the harmony in the same way, but to no voice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.judging.task import Awaited
from trainer.judging.timing import onset
from trainer.listening.capture import ROLLED, KeyStroke
from trainer.listening.events import StruckChord


@dataclass(frozen=True, slots=True)
class Heard:
    """Keys heard at a moment, ascending: `keys` under the fingers, `pedalled` by the pedal only;
    `struck` are those of `keys` that were pressed for this moment.

    `onset` is clock time in seconds of the first chord struck for it and `spread` its seconds from
    first to last key, None where nothing was struck.
    """

    index: int
    keys: tuple[int, ...] = ()
    struck: tuple[int, ...] = ()
    pedalled: tuple[int, ...] = ()
    onset: float | None = None
    spread: float | None = None

    @property
    def sounding(self) -> tuple[int, ...]:
        """All that counts for the harmony."""
        return tuple(sorted({*self.keys, *self.pedalled}))


def heard(
    awaited: Awaited,
    chords: Sequence[StruckChord],
    strokes: Sequence[KeyStroke],
    begins: float,
    middle: float,
) -> Heard:
    """What is heard at a moment; `chords` are the ones struck for it, in order, `strokes` all keys
    that may still sound then. `begins` is its clock time in seconds, `middle` when half of it is
    over."""
    if not chords:
        if awaited.bass is not None or awaited.melody is not None:
            return Heard(awaited.index)
        keys, pedalled = _kept(awaited, (), strokes, begins, middle)
        return Heard(awaited.index, tuple(sorted(keys)), (), tuple(sorted(pedalled - keys)))
    last = chords[-1]
    pressed = dict.fromkeys(key for chord in chords for key in chord.struck)
    down = {s.key for s in strokes if s.key in pressed and s.held_at(last.last)}
    middle = max(middle, last.last)
    struck = set(last.struck)
    for key in (key for chord in reversed(chords[:-1]) for key in reversed(chord.struck)):
        belongs = key % 12 in awaited.belonging
        if key in down and (belongs or any(s.key == key and s.held_at(middle) for s in strokes)):
            struck.add(key)
    kept, pedalled = _kept(awaited, tuple(pressed), strokes, last.last, middle)
    for key in (key for chord in reversed(chords[:-1]) for key in reversed(chord.struck)):
        if len(struck | kept) >= awaited.voices:
            break
        if key % 12 in awaited.belonging:
            struck.add(key)
    keys = struck | kept
    return Heard(
        awaited.index,
        tuple(sorted(keys)),
        tuple(sorted(struck)),
        tuple(sorted(pedalled - keys)),
        onset(chords[0]),
        max(chord.last for chord in chords if chord.last - chords[0].first <= 1.0)
        - chords[0].first,
    )


def _kept(
    awaited: Awaited,
    pressed: Sequence[int],
    strokes: Sequence[KeyStroke],
    begins: float,
    middle: float,
) -> tuple[set[int], set[int]]:
    """Keys from before, held by fingers and held by the pedal only."""
    settled = begins + ROLLED
    middle = max(middle, settled)
    fingers: set[int] = set()
    pedalled: set[int] = set()
    for stroke in strokes:
        if stroke.key in pressed or stroke.down > begins:
            continue
        at = settled if stroke.key % 12 in awaited.belonging else middle
        if stroke.held_at(at):
            fingers.add(stroke.key)
        elif stroke.sounding_at(at):
            pedalled.add(stroke.key)
    return fingers, pedalled
