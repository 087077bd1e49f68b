"""What may sound at a moment, as values: the members of a chord and the ways to complete it.

Numbers count letters over the bass, 1 to 7, and 1 is the octave too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from trainer.theory.figures import Figuring, Way
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch, PitchName, pitch_on

Treatment = Literal["suspension", "chord", "free", "cadential"]
_SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "##"}


@dataclass(frozen=True, slots=True)
class Member:
    """One note of a sonority.

    `number` is 1 to 7 over the bass. `bold` must sound; `written` stands in the figuring.
    `treatment` says how it is dissonant, None if it is not. `leading` marks the leading tone,
    `raised` a note an accidental raises above the signature; the first must not be doubled (nor
    a dissonance), the second had better not be.
    """

    number: int
    name: PitchName
    bold: bool = False
    written: bool = False
    treatment: Treatment | None = None
    leading: bool = False
    raised: bool = False

    @property
    def dissonant(self) -> bool:
        return self.treatment in ("suspension", "chord")

    @property
    def doublable(self) -> bool:
        """Whether two voices may have it without a gross fault."""
        return not (self.dissonant or self.leading)


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to sound a figuring: all of `bold`, and nothing outside `numbers`."""

    bold: frozenset[int]
    numbers: frozenset[int]


@dataclass(frozen=True)
class Sonority:
    """What may sound at a moment.

    `bass` is the pitch the figures count from (over a rest: of the bass note that follows), None
    where there is none. `members` ascend by number and always hold number 1, the bass's own name.
    `completions` are all multisets of numbers for three upper voices, ascending within, best
    first, that sound every bold member, nothing foreign, and double nothing that must not be;
    the first `preferred` of them are the table's own. `melody` is what the melody sounds; its
    number is in every completion, even where it is outside the figuring and so no member.
    `additions` are notes that enrich the chord without contradicting the figuring.
    """

    bass: Pitch | None
    key: Key
    figuring: Figuring
    members: tuple[Member, ...]
    readings: tuple[Reading, ...]
    completions: tuple[tuple[int, ...], ...]
    preferred: int
    additions: tuple[Member, ...]
    melody: Pitch | None = None

    @property
    def way(self) -> Way:
        return self.figuring.way

    @cached_property
    def by_number(self) -> dict[int, Member]:
        return {member.number: member for member in self.members}

    @cached_property
    def names(self) -> frozenset[PitchName]:
        return frozenset(member.name for member in self.members)

    @cached_property
    def allowed_pitch_classes(self) -> frozenset[int]:
        """Of the members; additions not counted."""
        return frozenset(member.name.pitch_class for member in self.members)

    @cached_property
    def addition_pitch_classes(self) -> frozenset[int]:
        return frozenset(member.name.pitch_class for member in self.additions)

    @cached_property
    def belonging_pitch_classes(self) -> frozenset[int]:
        """Of all that may sound: members and additions."""
        return self.allowed_pitch_classes | self.addition_pitch_classes

    @cached_property
    def dissonances(self) -> tuple[Member, ...]:
        """Members with any treatment, the bass among them where it is the dissonance."""
        return tuple(member for member in self.members if member.treatment is not None)

    @cached_property
    def dominant_like(self) -> bool:
        """Whether its sevenths enter freely: with a leading tone or a third raised to be one, or
        with a tritone, as have dominants of any degree and diminished chords."""
        classes = [member.name.pitch_class for member in self.members]
        tritone = any((a - b) % 12 == 6 for a in classes for b in classes)
        return tritone or any(member.leading or member.raised for member in self.members)

    def name(self, number: int) -> PitchName:
        """The note of a member's number; KeyError if the sonority has no such number."""
        return self.by_number[number].name

    def number(self, name: PitchName) -> int:
        """Letters over the bass, 1 to 7, of any note; 1 where there is no bass."""
        return 1 if self.bass is None else (name.step - self.bass.step) % 7 + 1

    @cached_property
    def _spelling(self) -> tuple[PitchName, ...]:
        names = _chromatic(self.key)
        own = [PitchName(step, self.key.alter(step)) for step in range(7)]
        given = [] if self.melody is None else [self.melody.name]
        added = [member.name for member in self.additions]
        for name in (*own, *added, *given, *(m.name for m in self.members)):
            names[name.pitch_class] = name
        return tuple(names)

    def spell(self, midi: int) -> Pitch:
        """The pitch a MIDI key most likely means here: a member, the melody's own note, an
        addition, a note of the signature, else the nearest on the line of fifths."""
        return pitch_on(self._spelling[midi % 12], midi)

    def label(self, pitch: Pitch) -> str:
        """The interval over the bass as a figure: `3`, `b7`, `#4`, `8`, `9` where 9 is written.

        An accidental is shown where the note departs from the signature (of the bass's own
        letter: from the bass), always as the accidental it has. The bass itself is `1`.
        Without a bass it is the note's name.
        """
        if self.bass is None:
            return str(pitch.name)
        number = self.number(pitch.name)
        usual = self.bass.alter if number == 1 else self.key.alter(pitch.step)
        sign = "" if pitch.alter == usual else _SIGNS.get(pitch.alter, "")
        if number == 1:
            return sign + ("1" if pitch.height <= self.bass.height else "8")
        nine = number == 2 and any(f.numeral == 9 for f in self.figuring.figures)
        return f"{sign}{9 if nine else number}"


def _chromatic(key: Key) -> list[PitchName]:
    """A name for each pitch class: the twelve nearest the signature on the line of fifths, more
    sharps than flats, because what is foreign to a key is mostly a leading tone of another."""
    names = [PitchName(0)] * 12
    for fifths in range(key.signature - 3, key.signature + 9):
        step = (4 * fifths) % 7
        alter = (fifths - PitchName(step).fifths) // 7
        name = PitchName(step, alter)
        names[name.pitch_class] = name
    return names
