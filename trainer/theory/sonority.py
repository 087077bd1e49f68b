"""From bass, figuring, key signature and melody to what may sound at a moment.

The table of `trainer.theory.table` says which intervals complete a figuring; this module turns
them into spelled notes. Numbers count letters over the bass, 1 to 7, and 1 is the octave too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement

from trainer.errors import FigureError
from trainer.theory.figures import NOTHING, Figuring, Way
from trainer.theory.key import Key
from trainer.theory.members import Member, Reading, Sonority, Treatment
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch, PitchName
from trainer.theory.stack import (
    binding,
    is_augmented,
    is_diminished,
    number_of,
    numbers_of,
    row_of,
    written_notes,
)

__all__ = ["Member", "Reading", "Sonority", "Treatment", "sonorities", "sonority"]

_TREATMENTS: dict[str, Treatment] = {
    "s": "suspension",
    "c": "chord",
    "f": "free",
    "k": "cadential",
}


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
    if figuring.way in (Way.TASTO_SOLO, Way.UNISON):
        return _bass_alone(bass, figuring, key, melody)
    written = written_notes(bass, figuring, key, settings.struck_five_is_diminished)
    written |= _governed(written, figuring, melody)
    spelling = _Spelling(bass, key, written, melody)
    row = row_of(figuring, bass, key, written)
    # an octave that is written is sounded by the bass already
    bold = (numbers_of(row.bold) | binding(figuring, bass, key, written)) - {1}
    listed = tuple(
        tuple(tuple(sorted(number_of(w) for w in words.split())) for words in reading.split("|"))
        for reading in row.readings.split(";")
    )
    letters = [frozenset(n for numbers in reading for n in numbers) for reading in listed]
    everything = frozenset({1}).union(*letters)
    above = None
    if melody is not None and settings.melody_is_given:
        above = (melody.step - bass.step) % 7 + 1
        fitting = [numbers for numbers in letters if above in numbers]
        if fitting and spelling.name(above) == melody.name:
            letters = fitting  # of several readings the melody chooses
        else:
            bold, listed, letters = _displaced(above, bold, listed, letters)
    treatments = {number_of(word[:-1]): _TREATMENTS[word[-1]] for word in row.dissonant.split()}
    degrees = {key.degree(spelling.name(number).step) for number in everything}
    leads = 2 in degrees and 3 not in degrees  # over the third degree it is a fifth

    def member(number: int) -> Member:
        return spelling.member(number, bold, treatments, leads)

    members = tuple(member(number) for number in sorted(everything))
    completions, preferred = _completions(bold - {1}, listed, letters, members, above)
    added = sorted(numbers_of(row.added) - everything)
    return Sonority(
        bass,
        key,
        figuring,
        members,
        tuple(Reading(bold, numbers | {1}) for numbers in letters),
        completions,
        preferred,
        tuple(member(number) for number in added),
        melody,
    )


def _bass_alone(bass: Pitch, figuring: Figuring, key: Key, melody: Pitch | None) -> Sonority:
    """Over tasto solo nothing, all' unisono the bass's own octaves."""
    members = (Member(1, bass.name),)
    if figuring.way is Way.TASTO_SOLO:
        silent = (Reading(frozenset(), frozenset()),)
        return Sonority(bass, key, figuring, members, silent, (), 0, (), melody)
    octaves = (Reading(frozenset(), frozenset({1})),)
    return Sonority(bass, key, figuring, members, octaves, ((1, 1, 1),), 1, (), melody)


@dataclass(frozen=True, slots=True)
class _Spelling:
    """How each number over a bass is spelled: as written, as the melody has it, as in the key."""

    bass: Pitch
    key: Key
    written: Mapping[int, PitchName]
    melody: Pitch | None

    def name(self, number: int) -> PitchName:
        if number in self.written:
            return self.written[number]
        if number == 1:
            return self.bass.name
        step = (self.bass.step + number - 1) % 7
        if self.melody is not None and self.melody.step == step:
            return self.melody.name
        return PitchName(step, self.key.alter(step))

    def member(
        self,
        number: int,
        bold: frozenset[int],
        treatments: Mapping[int, Treatment],
        leads: bool,
    ) -> Member:
        """`treatments` are the row's own; `leads` whether the seventh degree is a leading tone."""
        note, treatment = self.name(number), treatments.get(number)
        leading = leads and note == self.key.leading_tone
        if treatment is None:
            diminished = number == 5 and is_diminished(self.bass, note)
            # over a bass that is itself a dissonance an augmented fourth opens
            augmented = number == 4 and 1 in treatments and is_augmented(self.bass, note)
            treatment = "free" if diminished or (augmented and not leading) else None
        raised = note.alter > self.key.alter(note.step)
        return Member(
            number, note, number in bold, number in self.written, treatment, leading, raised
        )


def _governed(
    written: dict[int, PitchName], figuring: Figuring, melody: Pitch | None
) -> dict[int, PitchName]:
    """What is written without an accidental and the melody has with one: the melody's note."""
    if melody is None:
        return {}
    plain = {figure.letters + 1 for figure in figuring.figures if figure.sign is None} - {1}
    return {
        number: melody.name
        for number, note in written.items()
        if number in plain and note.step == melody.step
    }


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
