"""From bass, figuring, key signature and melody to what may sound at a moment.

The table of `trainer.theory.table` says which intervals complete a figuring; this module turns
them into spelled notes. Numbers count letters over the bass, 1 to 7, and 1 is the octave too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import combinations_with_replacement
from typing import Literal

from trainer.errors import FigureError
from trainer.theory.figures import NOTHING, Figure, Figuring, Way
from trainer.theory.key import Key
from trainer.theory.moment import Moment
from trainer.theory.pitch import LETTERS, SEMITONES, Pitch, PitchName, pitch_on
from trainer.theory.table import TABLE, Row

Treatment = Literal["suspension", "chord", "free", "cadential"]
_TREATMENTS: dict[str, Treatment] = {
    "s": "suspension",
    "c": "chord",
    "f": "free",
    "k": "cadential",
}
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
    def dissonances(self) -> tuple[Member, ...]:
        """Members with any treatment, the bass among them where it is the dissonance."""
        return tuple(member for member in self.members if member.treatment is not None)

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


def sonorities(
    moments: Sequence[Moment],
    struck_five_is_diminished: bool = False,
    melody_is_given: bool = True,
) -> tuple[Sonority, ...]:
    """One sonority a moment, in order; a moment that begins no chord shares the one in force.

    A given melody may have a note outside the figuring, for which the others make room; one that
    is the player's own may not, though its accidental still governs its letter.

    Raises FigureError with bar and beat for a figuring that contradicts itself.
    """
    found: list[Sonority] = []
    reading = _Settings(struck_five_is_diminished, melody_is_given)
    for moment in moments:
        before = found[-1] if found else None
        try:
            found.append(_at(moment, moments, before, reading))
        except FigureError as error:
            raise error.at(bar=moment.bar, beat=float(moment.beat)) from None
    return tuple(found)


def sonority(
    bass: Pitch,
    figuring: Figuring,
    key: Key,
    melody: Pitch | None = None,
    struck_five_is_diminished: bool = False,
) -> Sonority:
    """What may sound over one bass note; raises FigureError where the figuring contradicts itself.

    An extender line has no meaning alone: see `sonorities`.
    """
    if figuring.way is Way.EXTENDED:
        raise FigureError("an extender line stands where nothing came before it")
    return _sonority(bass, figuring, key, melody, _Settings(struck_five_is_diminished))


@dataclass(frozen=True, slots=True)
class _Settings:
    struck_five_is_diminished: bool = False
    melody_is_given: bool = True


def _at(
    moment: Moment, moments: Sequence[Moment], before: Sonority | None, settings: _Settings
) -> Sonority:
    if not moment.chord:
        if before is None or moment.bass is None:
            return _silent(moment)
        return before if moment.melody == before.melody else replace(before, melody=moment.melody)
    if moment.figuring.way is Way.EXTENDED:
        if before is None or before.bass is None:
            raise FigureError(
                "an extender line stands where nothing came before it",
                remedy="write the figuring it is to continue",
            )
        return _extended(before, moment, settings.melody_is_given)
    bass = moment.bass or next((m.bass for m in moments[moment.index :] if m.bass), None)
    if bass is None:
        return _silent(moment)
    return _sonority(bass, moment.figuring, moment.key, moment.melody, settings)


def _silent(moment: Moment) -> Sonority:
    return Sonority(None, moment.key, NOTHING, (), (), (), 0, (), moment.melody)


def _extended(before: Sonority, moment: Moment, melody_is_given: bool) -> Sonority:
    """The notes of the sonority before, counted over the bass that has moved under them."""
    assert before.bass is not None
    bass = moment.bass or before.bass
    shift = (before.bass.step - bass.step) % 7

    def over(number: int) -> int:
        return (number - 1 + shift) % 7 + 1

    found = {over(m.number): replace(m, number=over(m.number)) for m in before.members}
    found[1] = found.get(1, Member(1, bass.name))
    members = tuple(found[number] for number in sorted(found))
    readings = tuple(
        Reading(frozenset(map(over, reading.bold)), frozenset(map(over, reading.numbers)))
        for reading in before.readings
    )
    bold = readings[0].bold
    listed = tuple(
        tuple(tuple(sorted(map(over, numbers))) for numbers in part)
        for part in (before.completions[: before.preferred],)
    )
    letters = [reading.numbers for reading in readings]
    melody = moment.melody
    given = melody is not None and melody_is_given
    above = (melody.step - bass.step) % 7 + 1 if melody is not None and given else None
    if melody is not None and above is not None and _name_of(found, above) != melody.name:
        bold, listed, letters = _displaced(above, bold, listed, letters)
    above_bass = bold - {1} if found[1].name == bass.name else bold
    completions, preferred = _completions(above_bass, listed, letters, members, above)
    return Sonority(
        bass,
        moment.key,
        moment.figuring,
        members,
        tuple(Reading(bold, numbers | {1}) for numbers in letters),
        completions,
        preferred,
        tuple(replace(m, number=over(m.number)) for m in before.additions),
        melody,
    )


def _name_of(members: dict[int, Member], number: int) -> PitchName | None:
    return members[number].name if number in members else None


@lru_cache(maxsize=8192)
def _sonority(
    bass: Pitch, figuring: Figuring, key: Key, melody: Pitch | None, settings: _Settings
) -> Sonority:
    if figuring.way is Way.TASTO_SOLO:
        alone = (Member(1, bass.name),)
        return Sonority(
            bass, key, figuring, alone, (Reading(frozenset(), frozenset()),), (), 0, (), melody
        )
    if figuring.way is Way.UNISON:
        octaves = (Member(1, bass.name),)
        reading = Reading(frozenset(), frozenset({1}))
        return Sonority(bass, key, figuring, octaves, (reading,), ((1, 1, 1),), 1, (), melody)
    written = _written_notes(bass, figuring, key, settings.struck_five_is_diminished)
    given = melody is not None and settings.melody_is_given
    above = (melody.step - bass.step) % 7 + 1 if melody is not None and given else None

    def name(number: int) -> PitchName:
        if number in written:
            return written[number]
        if number == 1:
            return bass.name
        step = (bass.step + number - 1) % 7
        if melody is not None and melody.step == step:
            return melody.name
        return PitchName(step, key.alter(step))

    row = _row(figuring, bass, key, written)
    bold = _numbers(row.bold) - {1}  # an octave that is written is sounded by the bass already
    listed = tuple(
        tuple(tuple(sorted(_number(w) for w in words.split())) for words in reading.split("|"))
        for reading in row.readings.split(";")
    )
    letters = [frozenset(n for numbers in reading for n in numbers) for reading in listed]
    stranger = above is not None and (
        not any(above in numbers for numbers in letters)
        or (melody is not None and name(above) != melody.name)
    )
    own = frozenset().union(*letters)
    if stranger:
        assert above is not None
        bold, listed, letters = _displaced(above, bold, listed, letters)
    elif above is not None:  # of several readings the melody chooses
        letters = [numbers for numbers in letters if above in numbers]
    treatments = {_number(word[:-1]): _TREATMENTS[word[-1]] for word in row.dissonant.split()}
    everything = own | {1}
    degrees = {key.degree(name(number).step) for number in everything}

    def member(number: int, treatment: Treatment | None = None) -> Member:
        note = name(number)
        if number == 5 and treatment is None and _is_diminished(bass, note):
            treatment = "free"
        leading = note == key.leading_tone and 2 in degrees
        raised = note.alter > key.alter(note.step)
        return Member(number, note, number in bold, number in written, treatment, leading, raised)

    members = tuple(member(n, treatments.get(n)) for n in sorted(everything))
    completions, preferred = _completions(bold - {1}, listed, letters, members, above)
    return Sonority(
        bass,
        key,
        figuring,
        members,
        tuple(Reading(bold, numbers | {1}) for numbers in letters),
        completions,
        preferred,
        tuple(member(number) for number in sorted(_numbers(row.added)) if number not in everything),
        melody,
    )


def _written_notes(
    bass: Pitch, figuring: Figuring, key: Key, struck_five: bool
) -> dict[int, PitchName]:
    notes: dict[int, PitchName] = {}
    numerals: dict[int, int] = {}
    for figure in figuring.figures:
        number = figure.letters + 1
        note = _note(figure, bass, key, struck_five)
        if not -2 <= note.alter <= 2:
            raise FigureError(f"{figure} over {bass.name} would be {note}: no such note is written")
        if notes.get(number, note) != note or (
            number == 2 and numerals.get(2, figure.number) != figure.number
        ):
            raise FigureError(
                f"{figuring} contradicts itself: two figures claim the letter {LETTERS[note.step]}",
                remedy="keep one of them",
            )
        notes[number] = note
        numerals[number] = figure.number
    return notes


def _note(figure: Figure, bass: Pitch, key: Key, struck_five: bool) -> PitchName:
    step = (bass.step + figure.letters) % 7
    own = bass.alter if figure.letters == 0 else key.alter(step)
    if figure.sign is None:
        return PitchName(step, own)
    if figure.letters == 0:
        if figure.sign.alter != bass.alter:
            raise FigureError(
                f"{figure} contradicts its bass: the octave of {bass.name} is {bass.name}"
            )
        return bass.name
    if figure.sign.raises:
        if struck_five and figure.letters == 4:
            natural = (SEMITONES[step] - bass.name.pitch_class) % 12
            return PitchName(step, 6 - natural)
        return PitchName(step, own + 1)
    assert figure.sign.alter is not None
    return PitchName(step, figure.sign.alter)


def _row(figuring: Figuring, bass: Pitch, key: Key, written: dict[int, PitchName]) -> Row:
    nine = any(figure.number == 9 for figure in figuring.figures)
    stack = {9 if number == 2 and nine else (8 if number == 1 else number) for number in written}
    wanted = " ".join(str(number) for number in sorted(stack, reverse=True))
    for row in TABLE:
        if wanted in (words.strip() for words in row.written.split("|")) and _sounds(
            row, bass, key, written
        ):
            return row
    return _unlisted(figuring, stack)


def _sounds(row: Row, bass: Pitch, key: Key, written: dict[int, PitchName]) -> bool:
    if not row.sounding:
        return True
    kind, number = row.sounding.split("-")
    note = written[int(number)]
    if kind == "diminished":
        return _is_diminished(bass, note)
    return note.alter > key.alter(note.step)


def _is_diminished(bass: Pitch, fifth: PitchName) -> bool:
    return (fifth.pitch_class - bass.name.pitch_class) % 12 == 6


def _unlisted(figuring: Figuring, stack: set[int]) -> Row:
    """The general rule: sound what is written, completed by thirds upward from the lowest."""
    sounded = sorted(stack)
    if len(sounded) > 3 and 8 in sounded:
        sounded.remove(8)  # the bass has it
    if len(sounded) > 3 and 5 in sounded and 6 not in sounded:
        sounded.remove(5)  # the only member a full chord may lack
    if len(sounded) > 3:
        raise FigureError(
            f"{figuring} asks for more notes than three upper voices have",
            remedy="leave out the figures the others imply",
        )
    bold = " ".join(map(str, sounded))
    lowest = sounded[0]
    clash = {3: 4, 4: 3, 5: 6, 6: 5}
    for third in (2, 4, 6):
        number = (lowest + third - 1) % 7 + 1
        number = 8 if number == 1 else number
        taken = {_number(str(n)) for n in sounded}
        if (
            len(sounded) < 3
            and _number(str(number)) not in taken
            and clash.get(number) not in taken
        ):
            sounded.append(number)
    while len(sounded) < 3:
        sounded.append(8)
    return Row("", bold, " ".join(map(str, sounded)))


def _displaced(
    above: int,
    bold: frozenset[int],
    listed: tuple[tuple[tuple[int, ...], ...], ...],
    letters: list[frozenset[int]],
) -> tuple[frozenset[int], tuple[tuple[tuple[int, ...], ...], ...], list[frozenset[int]]]:
    """A melody note outside the figuring stands for the member it leans on: the letter below it,
    else the one above, else it merely takes a voice."""
    members = frozenset().union(*letters)
    below, over = (above - 2) % 7 + 1, above % 7 + 1
    leans = below if below in members else over if over in members else None
    if above in members:  # the figuring has this letter with another accidental
        leans = above

    def without(numbers: tuple[int, ...]) -> tuple[int, ...]:
        spare = [n for n in numbers if n not in bold or numbers.count(n) > 1]
        gone = leans if leans in numbers else (spare or list(numbers))[-1]
        kept = list(numbers)
        kept.remove(gone)
        return tuple(sorted([*kept, above]))

    changed = tuple(tuple(dict.fromkeys(map(without, reading))) for reading in listed)
    kept = bold - {leans} if leans is not None else bold
    if len(kept) > 2:
        kept = frozenset.intersection(kept, *(frozenset(n) for r in changed for n in r))
    return kept, changed, [numbers | {above} for numbers in letters]


def _completions(
    bold: frozenset[int],
    listed: tuple[tuple[tuple[int, ...], ...], ...],
    letters: list[frozenset[int]],
    members: tuple[Member, ...],
    above: int | None,
) -> tuple[tuple[tuple[int, ...], ...], int]:
    single = {member.number for member in members if not member.doublable}
    better_single = {member.number for member in members if member.raised}

    def doubled(numbers: tuple[int, ...], number: int) -> bool:
        in_bass = number == 1 and above != 1  # the given outer voices are not the player's doing
        return numbers.count(number) + in_bass > 1

    def legal(numbers: tuple[int, ...]) -> bool:
        return (
            bold <= set(numbers)
            and (above is None or above in numbers)
            and not any(doubled(numbers, number) for number in single)
        )

    table = dict.fromkeys(n for reading in listed for n in reading if legal(n))
    rest = dict.fromkeys(
        numbers
        for reading in letters
        for numbers in combinations_with_replacement(sorted(reading | {1}), 3)
        if numbers not in table and legal(numbers)
    )
    careful = [n for n in table if not any(doubled(n, number) for number in better_single)]
    ordered = [*careful, *(n for n in table if n not in careful), *rest]
    return tuple(ordered), len(table)


def _number(word: str) -> int:
    return (int(word) - 1) % 7 + 1


def _numbers(words: str) -> frozenset[int]:
    return frozenset(map(_number, words.split()))


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
