"""Whether the keys that sound are what the figuring asks for: nothing missing, nothing foreign."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trainer.errors import FigureError
from trainer.judging.verdict import Outcome
from trainer.score.exercise import Exercise
from trainer.theory.figures import Way
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch, PitchName, pitch_on
from trainer.theory.sonority import Sonority, sonorities
from trainer.theory.voicing import Voicing

FEWEST = 3  # keys that can be four voices, two of them on one key


@dataclass(frozen=True, slots=True)
class ChordHeard:
    """What a chord is against its figuring. `missing` pitches are placed just above the bass."""

    outcome: Outcome
    missing: tuple[Pitch, ...] = ()
    foreign: tuple[Pitch, ...] = ()
    additions: tuple[Pitch, ...] = ()


@dataclass(frozen=True, slots=True)
class _Reading:
    bold: int  # pitch classes as bits
    allowed: int


def sonorities_of(exercise: Exercise, melody_is_given: bool = True) -> tuple[Sonority, ...]:
    """One sonority a moment; FigureError names the file, bar and beat of a contradiction."""
    try:
        return sonorities(exercise.moments, exercise.struck_five_is_diminished, melody_is_given)
    except FigureError as error:
        raise error.at(file=exercise.source or None) from None


class HarmonyTable:
    """The figuring of one moment as sets of pitch classes, worked out once.

    A melody that is given may be outside the figuring and must be what is played; one that is the
    player's own is judged as the other voices.
    """

    def __init__(self, moment: Moment, sonority: Sonority, melody_is_given: bool = True) -> None:
        self.moment = moment
        self.sonority = sonority
        bass = sonority.bass
        self.bass = None if moment.bass is None else moment.bass.midi
        melody = moment.melody if melody_is_given else None
        self.melody = None if melody is None else melody.midi
        self._names = {pitch.name for pitch in (moment.bass, melody) if pitch is not None}
        self._given = _bits(m % 12 for m in (self.bass, self.melody) if m is not None)
        by_number = sonority.by_number
        self._readings = tuple(
            _Reading(
                _bits(by_number[n].name.pitch_class for n in reading.bold if n in by_number),
                _bits(by_number[n].name.pitch_class for n in reading.numbers if n in by_number),
            )
            for reading in sonority.readings
        )
        self._additions = _bits(sonority.addition_pitch_classes)
        self._full: tuple[
            int, ...
        ] = ()  # pitch classes of the best completion, for chords of too few keys
        if sonority.completions and bass is not None and sonority.way is not Way.UNISON:
            self._full = tuple(
                by_number[n].name.pitch_class for n in sonority.completions[0] if n in by_number
            )

    def not_played(self, supplied: Iterable[int]) -> ChordHeard:
        """Nothing played yet: all that must sound is missing, but for what the program supplies."""
        missing, _, _ = self._against(_bits(key % 12 for key in supplied))
        if not self.moment.chord:
            missing = 0
        return ChordHeard("not-played", self._all_placed(missing))

    def judge(self, keys: Iterable[int], melody_supplied: bool = False) -> ChordHeard:
        """The verdict on all keys that sound, from the bass up; those the program supplies too.

        Where no chord begins, nothing can be missing. A melody the program plays is always right,
        even with a key above it.
        """
        sounding = tuple(keys)
        if self.sonority.bass is None:
            return ChordHeard("complete")
        present = _bits(key % 12 for key in sounding)
        wrong_bass = self.bass is not None and (sounding[0] - self.bass) % 12 != 0
        wrong_melody = (
            not melody_supplied
            and self.melody is not None
            and (sounding[-1] - self.melody) % 12 != 0
        )
        missing, foreign, additions = self._against(present)
        if wrong_bass:  # it is named as the wrong bass, not as a foreign note besides
            foreign &= ~_bits(
                k % 12
                for k in sounding[:1]
                if _bits([k % 12]) & ~_bits(x % 12 for x in sounding[1:])
            )
        if not missing and len(sounding) < FEWEST and self._full:
            missing = _bits(self._full) & ~present
        if not self.moment.chord:
            missing = 0
        outcome: Outcome = "complete"
        if wrong_bass:
            outcome = "wrong-bass"
        elif wrong_melody:
            outcome = "wrong-melody"
        elif foreign:
            outcome = "foreign"
        elif missing:
            outcome = "incomplete"
        if not (missing or foreign or additions):
            return ChordHeard(outcome)
        return ChordHeard(
            outcome,
            self._all_placed(missing),
            self._spelled(sounding, foreign),
            self._spelled(sounding, additions),
        )

    def judge_voices(self, voicing: Voicing) -> ChordHeard:
        """The verdict on four written voices: they may cross, and their spelling counts."""
        pitches = [pitch for pitch in voicing if pitch is not None]
        if not pitches:
            return ChordHeard("not-played")
        if self.sonority.bass is None:
            return ChordHeard("complete")
        missing, foreign, additions = self._against(_bits(p.midi % 12 for p in pitches))
        names = self.sonority.names | {addition.name for addition in self.sonority.additions}
        strange = tuple(
            pitch
            for pitch in tuple(voicing)[:3]
            if pitch is not None
            and pitch.name not in self._names
            and (foreign >> pitch.midi % 12 & 1 or self._misspelt(pitch, names))
        )
        outcome: Outcome = "complete"
        if self._other(voicing.bass, self.bass):
            outcome = "wrong-bass"
        elif self._other(voicing.soprano, self.melody):
            outcome = "wrong-melody"
        elif strange:
            outcome = "foreign"
        elif missing:
            outcome = "incomplete"
        return ChordHeard(
            outcome,
            self._all_placed(missing),
            strange,
            tuple(p for p in pitches if additions >> p.midi % 12 & 1),
        )

    def _other(self, pitch: Pitch | None, wanted: int | None) -> bool:
        return pitch is not None and wanted is not None and (pitch.midi - wanted) % 12 != 0

    def _misspelt(self, pitch: Pitch, names: frozenset[PitchName]) -> bool:
        """On the key of a member, but written as another note."""
        return pitch.name not in names and any(
            name.pitch_class == pitch.midi % 12 for name in names
        )

    def _against(self, present: int) -> tuple[int, int, int]:
        best = (99, 99, 99)
        found = (0, 0, 0)
        for reading in self._readings:
            missing = reading.bold & ~present
            outside = present & ~reading.allowed & ~self._given
            foreign = outside & ~self._additions
            additions = outside & self._additions
            cost = (foreign.bit_count(), missing.bit_count(), additions.bit_count())
            if cost < best:
                best, found = cost, (missing, foreign, additions)
        return found

    def _all_placed(self, bits: int) -> tuple[Pitch, ...]:
        placed = [self._placed(pc) for pc in range(12) if bits >> pc & 1]
        return tuple(sorted(placed, key=lambda pitch: pitch.midi))

    def _placed(self, pitch_class: int) -> Pitch:
        """A missing note just above the bass, spelled as the member it is."""
        bass = self.sonority.bass
        assert bass is not None
        midi = bass.midi + (pitch_class - bass.midi) % 12
        for member in self.sonority.members:
            if member.name.pitch_class == pitch_class:
                return pitch_on(member.name, midi)
        return self.sonority.spell(midi)

    def _spelled(self, sounding: tuple[int, ...], bits: int) -> tuple[Pitch, ...]:
        return tuple(self.sonority.spell(key) for key in sounding if bits >> key % 12 & 1)


def _bits(pitch_classes: Iterable[int]) -> int:
    bits = 0
    for pitch_class in pitch_classes:
        bits |= 1 << pitch_class
    return bits
