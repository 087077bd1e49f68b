"""An exercise: bass, figures and usually a melody, with everything the player must know.

Score time is in quarter notes from the first sounding event, a pick-up included, as Fraction.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TypeVar

from trainer.score.commentary import in_words
from trainer.theory.figures import NOTHING, Figuring, Way
from trainer.theory.key import Key
from trainer.theory.moment import Metre, Moment
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Note:
    """One written note or rest of a voice. Several tied notes are several Notes.

    `tied` is true where a tie leads into this note from the one before: it is not struck again.
    """

    onset: Fraction
    duration: Fraction
    pitch: Pitch | None
    tied: bool = False
    fermata: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Phrase:
    """Moments `first` to `last` inclusive; a phrase ends with a fermata or the piece."""

    first: int
    last: int


@dataclass(frozen=True)
class Exercise:
    """The value everything else takes. Voices are in time order, gapless, rests written out.

    `keys` and `metres` give (onset, value) at each change, the first at 0. `pickup` is the length
    of an incomplete first bar (0 if none). `figures` holds (onset, figuring) where something is
    written. `melody` may be empty (a drill with a free top voice); `alto` and `tenor` are the
    suggested solution and are empty if there is none. `tempo` is in beats (tactus) a minute.
    """

    id: str
    title: str
    bass: tuple[Note, ...]
    figures: tuple[tuple[Fraction, Figuring], ...]
    keys: tuple[tuple[Fraction, Key], ...]
    metres: tuple[tuple[Fraction, Metre], ...]
    tempo: float
    melody: tuple[Note, ...] = ()
    alto: tuple[Note, ...] = ()
    tenor: tuple[Note, ...] = ()
    pickup: Fraction = Fraction(0)
    level: int = 0  # course step 1 to 24; 0 = not placed
    tags: tuple[str, ...] = ()
    tune: str = ""  # name of the tune, where the melody is known by one
    commentary: tuple[str, ...] = ()
    struck_five_is_diminished: bool = False
    source: str = field(default="", compare=False)  # where it was read from, for messages

    @property
    def key(self) -> Key:
        return self.keys[0][1]

    @property
    def metre(self) -> Metre:
        return self.metres[0][1]

    @property
    def length(self) -> Fraction:
        return self.bass[-1].end

    @cached_property
    def moments(self) -> tuple[Moment, ...]:
        """In time order, indices 0, 1, 2 …"""
        return _moments(self)

    @property
    def remarks(self) -> tuple[str, ...]:
        """The commentary as a pupil reads it, notes named in words."""
        return tuple(in_words(paragraph, self.key) for paragraph in self.commentary)

    @cached_property
    def phrases(self) -> tuple[Phrase, ...]:
        """The moments divided after each fermata."""
        ends = [m.index for m in self.moments if m.fermata]
        last = len(self.moments) - 1
        if not ends or ends[-1] != last:
            ends.append(last)
        firsts = [0, *(end + 1 for end in ends[:-1])]
        return tuple(Phrase(a, b) for a, b in zip(firsts, ends, strict=True))

    def place(self, onset: Fraction) -> tuple[int, Fraction]:
        """Bar number as printed and beat from 1 (tactus beats) of a score time."""
        if onset < self.pickup:
            metre = self.metre
            return 0, 1 + (metre.bar_length - self.pickup + onset) / metre.beat_length
        begin, bar, metre = next(one for one in reversed(self._stretches) if one[0] <= onset)
        whole, within = divmod(onset - begin, metre.bar_length)
        return bar + whole, 1 + within / metre.beat_length

    @cached_property
    def _stretches(self) -> tuple[tuple[Fraction, int, Metre], ...]:
        """Where each metre begins, with the number of its first bar; a short last bar counts."""
        bar = 1
        found: list[tuple[Fraction, int, Metre]] = []
        for begin, metre in self.metres:
            start = max(begin, self.pickup)
            if found:
                before, _, old = found[-1]
                bar += -int((before - start) // old.bar_length)
            found.append((start, bar, metre))
        return tuple(found)

    def key_at(self, onset: Fraction) -> Key:
        return _in_force(self.keys, onset)

    def metre_at(self, onset: Fraction) -> Metre:
        return _in_force(self.metres, onset)


@dataclass(frozen=True, slots=True)
class Realization:
    """A voicing for each moment of an exercise, in order."""

    voicings: tuple[Voicing, ...]


def _in_force(changes: tuple[tuple[Fraction, _T], ...], onset: Fraction) -> _T:
    if len(changes) == 1:
        return changes[0][1]
    return changes[max(0, bisect_right([at for at, _ in changes], onset) - 1)][1]


def note_at(voice: tuple[Note, ...], onset: Fraction) -> Note | None:
    """The note or rest of `voice` that is on at score time `onset`, or None outside it."""
    index = bisect_right(voice, onset, key=lambda note: note.onset) - 1
    return voice[index] if index >= 0 and onset < voice[index].end else None


def moment_onsets(exercise: Exercise) -> list[Fraction]:
    """Score times at which a moment begins: a note of bass or melody, or a figuring."""
    struck = {n.onset for n in (*exercise.bass, *exercise.melody) if not n.tied}
    return sorted(struck.union(at for at, _ in exercise.figures))


def _sounding(voice: tuple[Note, ...], onsets: list[Fraction]) -> Iterator[Note | None]:
    """`note_at` for ascending onsets, in one walk through the voice."""
    index = 0
    for onset in onsets:
        while index < len(voice) and voice[index].end <= onset:
            index += 1
        yield voice[index] if index < len(voice) else None


def _moments(exercise: Exercise) -> tuple[Moment, ...]:
    figures = dict(exercise.figures)
    onsets = moment_onsets(exercise)
    ends = [*onsets[1:], exercise.length]
    moments: list[Moment] = []
    figuring = NOTHING
    voices = (_sounding(exercise.bass, onsets), _sounding(exercise.melody, onsets))
    for index, (onset, end, bass, melody) in enumerate(zip(onsets, ends, *voices, strict=True)):
        bass_struck = _begins(bass, onset)
        if onset in figures:
            figuring = figures[onset]
        elif bass_struck or (figuring.way is Way.EXTENDED and bass is None):
            figuring = NOTHING
        bar, beat = exercise.place(onset)
        moments.append(
            Moment(
                index=index,
                onset=onset,
                duration=end - onset,
                bar=bar,
                beat=beat,
                bass=None if bass is None else bass.pitch,
                bass_struck=bass_struck,
                melody=None if melody is None else melody.pitch,
                melody_struck=_begins(melody, onset),
                figuring=figuring,
                figured=onset in figures,
                fermata=any(n is not None and n.fermata and n.end <= end for n in (bass, melody)),
                key=exercise.key_at(onset),
                metre=exercise.metre_at(onset),
            )
        )
    return tuple(moments)


def _begins(note: Note | None, onset: Fraction) -> bool:
    return note is not None and not note.tied and note.pitch is not None and note.onset == onset


def with_free_top(exercise: Exercise, tops: Iterable[Note]) -> tuple[Note, ...]:
    """The melody as given, and of `tops` what begins where it rests or where there is none: there
    the top is the player's."""

    def is_free(note: Note) -> bool:
        at = bisect_right(exercise.moments, note.onset, key=lambda moment: moment.onset) - 1
        return at < 0 or exercise.moments[at].melody is None

    given = (note for note in exercise.melody if note.pitch is not None)
    return tuple(sorted((*given, *filter(is_free, tops)), key=lambda note: note.onset))
