"""Questions: one figuring at a time, untimed, as a small exercise made for it.

A question is cut from a drill of the course: the bass note that carries the figuring, the note
before it where a dissonance must be prepared, and the note after it where one must resolve. Every
bass note gets a bar of its own. One melody note fixes the position that is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache, lru_cache

from trainer.errors import ExerciseError
from trainer.practice.item import Item, degree_of_bass, figuring_item
from trainer.practice.material import Material
from trainer.practice.result import QUESTION, asked_by
from trainer.score.exercise import Exercise, Note
from trainer.score.patterns import Pattern, expand
from trainer.score.syllabus import relative
from trainer.theory.figures import Way
from trainer.theory.key import Key
from trainer.theory.moment import Metre, Moment
from trainer.theory.pitch import Pitch, PitchName
from trainer.theory.sonority import Sonority, sonorities

_LOWEST_TOP = 67  # g4: the top note asked for is the lowest one from here up


def question_id(item: Item) -> str:
    """The exercise id of a question."""
    return f"{QUESTION}@{item}"


def asked_item(exercise_id: str) -> Item:
    """What a question asks, from its id; raises ExerciseError if it is not a question's."""
    item = asked_by(exercise_id)
    if item is None:
        raise ExerciseError(f"{exercise_id!r} is not a question")
    return item


def question(item: Item, material: Material) -> Exercise:
    """The small exercise that asks for an item.

    It is cut from the first drill of the course in which the figuring stands on that degree.
    Raises ExerciseError for an item that no drill contains, or a position it cannot have.
    """
    key = Key.parse(item.key)
    for pattern in _in_course_order(material):
        if key.mode not in ("major", "minor") or not _has(pattern, key, item):
            continue
        drill = expand(pattern, key)
        for moment in drill.moments:
            if moment.chord and _is(moment, item):
                return _cut(drill, moment, item)
    raise ExerciseError(f"no drill of the course has {item.words}")


def items_of(pattern: Pattern, key: Key) -> tuple[Item, ...]:
    """Every figuring that a drill meets in a key, in each position its sonority allows."""
    return _items_of(pattern, key)


def askable(material: Material) -> Callable[[Item], bool]:
    """Whether some drill of the course contains a figuring, so that it can be asked.

    Drills are written out only as far as questions need them: all of them take a tenth of a second.
    """
    patterns = {pattern.id: pattern for pattern in _in_course_order(material)}.values()
    usual = (Key.parse("C"), Key.parse("a"))

    @cache
    def contained(item: Item, key: Key) -> bool:
        return any(
            (one.name, one.degree) == (item.name, item.degree)
            and item.position in (0, one.position)
            for pattern in patterns
            if _has(pattern, key, item)
            for one in items_of(pattern, key)
        )

    def asked(item: Item) -> bool:
        key = Key.parse(item.key)
        like = usual[key.is_minor]
        return key.mode in ("major", "minor") and contained(replace(item, key=str(like)), like)

    return asked


@lru_cache(maxsize=4096)
def _items_of(pattern: Pattern, key: Key) -> tuple[Item, ...]:
    drill = expand(pattern, key)
    found: dict[Item, None] = {}
    for moment, sonority in zip(drill.moments, sonorities(drill.moments), strict=True):
        plain = figuring_item(moment, None) if moment.chord else None
        if plain is None:
            continue
        for number in _positions(sonority):
            position = 8 if number == 1 else number
            found[Item("figuring", plain.name, plain.key, plain.degree, position)] = None
    return tuple(found)


def _positions(sonority: Sonority) -> tuple[int, ...]:
    """The numbers over the bass that some preferred completion has, so that they can be on top."""
    best = sonority.completions[: max(1, sonority.preferred)]
    return tuple(sorted({number for completion in best for number in completion}))


def _in_course_order(material: Material) -> Iterator[Pattern]:
    for step in material.steps:
        yield from material.drills(step)


def _has(pattern: Pattern, key: Key, item: Item) -> bool:
    """Whether the line of degrees holds the item, before anything is expanded."""
    return any(
        item.degree
        == ("#" * degree.alter if degree.alter > 0 else "b" * -degree.alter) + str(degree.degree)
        and item.name in degree.figurings
        for degree in (pattern.minor if key.is_minor else pattern.major)
    )


def _is(moment: Moment, item: Item) -> bool:
    if moment.bass is None or moment.figuring.way is not Way.FIGURES:
        return False
    here = relative(moment.figuring, moment.bass, moment.key)
    return here == item.name and degree_of_bass(moment) == item.degree


def _cut(drill: Exercise, asked: Moment, item: Item) -> Exercise:
    sounding = sonorities(drill.moments)
    groups = _by_bass_note(drill.moments)
    place = next(n for n, group in enumerate(groups) if asked.index in group)
    treatments = {member.treatment for member in sounding[groups[place][0]].dissonances}
    first = place - 1 if treatments & {"suspension", "chord"} and place else place
    unresolved = sounding[groups[place][-1]].dissonances
    last = place + 1 if unresolved and place + 1 < len(groups) else place
    kept = groups[first : last + 1]
    three = any(len(group) % 3 == 0 for group in kept)
    bar = Fraction(3 if three else 4)
    bass: list[Note] = []
    melody: list[Note] = []
    figures = []
    for number, group in enumerate(kept):
        head = drill.moments[group[0]]
        bass.append(Note(number * bar, bar, head.bass, fermata=number == len(kept) - 1))
        part = bar / len(group)
        for step, index in enumerate(group):
            moment, onset = drill.moments[index], number * bar + step * part
            if moment.figuring.figures or step:
                figures.append((onset, moment.figuring))
            top = _top(moment, sounding[index], item) if index == asked.index else None
            melody.append(Note(onset, part, top))
    return Exercise(
        id=question_id(item),
        title=item.words[0].upper() + item.words[1:],
        bass=tuple(bass),
        figures=tuple(figures),
        keys=((Fraction(0), drill.key),),
        metres=((Fraction(0), Metre(3 if three else 4, 4)),),
        tempo=drill.tempo,
        melody=tuple(melody) if item.position else (),
        level=drill.level,
        tags=(QUESTION,),
    )


def _by_bass_note(moments: tuple[Moment, ...]) -> list[list[int]]:
    """Indices of the moments over each bass note."""
    groups: list[list[int]] = []
    for moment in moments:
        if moment.bass_struck or not groups:
            groups.append([])
        groups[-1].append(moment.index)
    return groups


def _top(moment: Moment, sonority: Sonority, item: Item) -> Pitch | None:
    if not item.position:
        return None
    number = 1 if item.position == 8 else item.position
    if number not in sonority.by_number:
        raise ExerciseError(
            f"{item.words}: that note does not belong to the figuring",
            remedy=f"it has {', '.join(str(n) for n in sorted(sonority.by_number))}",
        )
    name: PitchName = sonority.name(number)
    pitch = Pitch(name.step, name.alter, 3)
    while pitch.midi < _LOWEST_TOP:
        pitch = Pitch(name.step, name.alter, pitch.octave + 1)
    return pitch
