"""The middle voices as real notes in the free middle of an engraved page.

The page is never engraved anew for them: heads, stems, accidentals and ledger lines are set into
the columns it already has, beside the given notes where they would touch them. Soprano and alto
stand on the upper staff, the tenor where its phrase stands (`notes_on_paper`); alto and tenor of
one staff share a stem.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.engraving.boxes import Box
from trainer.engraving.chord_columns import BEYOND, ways_to_stand
from trainer.engraving.geometry import Geometry, System
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke
from trainer.engraving.note_values import values
from trainer.engraving.notes_on_paper import BASS, TREBLE
from trainer.engraving.signs_before import accidentals_before
from trainer.engraving.surroundings import Surroundings, surroundings
from trainer.score.exercise import Exercise, Note
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName

BLACK, HALF, WHOLE, DOUBLE_WHOLE = 0xE0A4, 0xE0A3, 0xE0A2, 0xE0A0
WIDTHS = {BLACK: 1.18, HALF: 1.18, WHOLE: 1.688, DOUBLE_WHOLE: 2.396}  # heads, in staff spaces
STEM = 3.1  # length of a stem, in staff spaces
_FLAGGED = 3.8  # of one with a flag, which must not reach back to the head
THIN = 0.11
_DOT = 0xE1E7
# flags by the value of the note: stem up, stem down
_FLAGS = {
    "8": (0xE240, 0xE241),
    "16": (0xE242, 0xE243),
    "32": (0xE244, 0xE245),
    "64": (0xE246, 0xE247),
}
_FARTHEST = 9  # letters beyond a staff: the place under its fourth ledger line


@dataclass(frozen=True, slots=True)
class VoiceNote:
    """A note to be written: which voice has it, and in which ink."""

    voice: VoiceName
    pitch: Pitch
    ink: Ink = "player"


@dataclass(frozen=True, slots=True)
class Placed:
    """One written note: its pitch and where its head stands (left edge, middle; on which staff)."""

    moment: int
    voice: VoiceName
    pitch: Pitch
    x: float
    y: float
    width: float
    upper: bool


@dataclass(frozen=True, slots=True)
class Column:
    """The notes written at one moment, and how they are drawn."""

    notes: tuple[Placed, ...]
    drawings: tuple[Drawing, ...]


def write(
    exercise: Exercise,
    geometry: Geometry,
    moment: int,
    notes: Sequence[VoiceNote],
    *,
    tenor_above: bool,
    before: Mapping[int, Column] | None = None,
    beside: Column | None = None,
) -> Column:
    """Set `notes` (not the given bass and melody) into the column of a moment.

    `tenor_above` puts the tenor on the upper staff; what lies more than four ledger lines from its
    staff stands on the other. `before` are the columns already written, by
    moment, for the accidentals of the bar: a printed note that they would alter gets its own sign
    back. `beside` is a column written at this moment already, which is not covered. KeyError if
    the moment is not on this page.
    """
    before = before or {}
    last = before.get(moment - 1)
    here = Column((), ()) if beside is None else beside
    about = surroundings(geometry, moment, () if last is None else last.drawings, here.drawings)
    page = _Page(exercise, geometry, geometry.system_of(moment), moment, before, about, here)
    upper = [n for n in notes if _stands_above(n, tenor_above)]
    lower = [n for n in notes if not _stands_above(n, tenor_above)]
    above, below = page.staff(upper, is_upper=True), page.staff(lower, is_upper=False)
    return Column((*above.notes, *below.notes), (*above.drawings, *below.drawings))


def _stands_above(note: VoiceNote, tenor_above: bool) -> bool:
    """Whether a note stands on the upper staff: its voice's, unless that is more than four ledger
    lines away, where nobody could read it."""
    height = note.pitch.height
    if note.voice != "tenor" or tenor_above:
        return height >= TREBLE[0] - _FARTHEST
    return height > BASS[1] + _FARTHEST


def head_for(duration: Fraction) -> int:
    """The head a length in quarter notes is written with."""
    if duration >= 8:
        return DOUBLE_WHOLE
    if duration >= 4:
        return WHOLE
    return HALF if duration >= 2 else BLACK


def one_head(one: Fraction, other: Fraction) -> bool:
    """Whether one head serves two voices for these lengths, each on its own stem: it looks the
    same and a dot could not be taken for the other's. (Common practice, no source.)"""
    if one == other:
        return True
    undotted = all(values(length)[0].dots == 0 for length in (one, other))
    return undotted and head_for(one) == head_for(other) == BLACK


@dataclass(frozen=True, slots=True)
class _Page:
    """One moment of an engraved page, and what is known of it."""

    exercise: Exercise
    geometry: Geometry
    system: System
    moment: int
    before: Mapping[int, Column]
    about: Surroundings
    beside: Column

    @property
    def _duration(self) -> Fraction:
        return self.exercise.moments[self.moment].duration

    def staff(self, notes: Sequence[VoiceNote], *, is_upper: bool) -> Column:
        """What is written on one staff: a soprano on its own stem, then the middle voices, the
        first way in which nothing is covered; where there is none, the one that covers least."""
        stem_up = not is_upper
        tops = [n for n in notes if n.voice == "soprano"]
        others = [n for n in notes if n.voice != "soprano"]
        others.sort(key=lambda n: n.pitch.height, reverse=not stem_up)
        given = [*self._given(is_upper), *((note.pitch, self._duration) for note in tops)]
        ways = ways_to_stand(
            [n.pitch for n in others],
            [pitch for pitch, _ in given],
            shared=[pitch for pitch, length in given if one_head(length, self._duration)],
            stem_up=stem_up,
        )
        high = self._chord(tops, (0.0,) * len(tops), is_upper=is_upper, stem_up=True)
        best: tuple[float, Column] | None = None
        for way in ways:
            if any(
                self._astride(n.pitch, is_upper) and c < BEYOND
                for n, c in zip(others, way, strict=True)
            ):
                continue
            low = self._chord(others, way, is_upper=is_upper, stem_up=stem_up)
            heads, drawn = (*high.notes, *low.notes), (*high.drawings, *low.drawings)
            boxes = [*map(self._box, heads)]
            signs = accidentals_before(self._wanted(heads, notes, is_upper), boxes, self.about)
            dots = [d for d in drawn if isinstance(d, Sign) and d.code == _DOT]
            covered = self.about.covered(boxes, dots, signs)
            if best is None or covered < best[0]:
                best = covered, Column(heads, (*drawn, *signs))
            if not covered:
                break
        assert best is not None, "far enough aside nothing touches the given note"
        return best[1]

    def _given(self, is_upper: bool) -> list[tuple[Pitch, Fraction]]:
        """The printed note that begins here on a staff, with its length in quarter notes."""
        here = self.exercise.moments[self.moment]
        voice: tuple[Note, ...] = self.exercise.melody if is_upper else self.exercise.bass
        if not (here.melody_struck if is_upper else here.bass_struck):
            return []
        pitch = here.melody if is_upper else here.bass
        lengths = (n.duration for n in voice if n.onset == here.onset)
        return [] if pitch is None else [(pitch, next(lengths, here.duration))]

    def _chord(
        self, notes: Sequence[VoiceNote], columns: Sequence[float], *, is_upper: bool, stem_up: bool
    ) -> Column:
        """Notes in their columns, on one stem or, where their heads are apart, on one each."""
        space, left = self.system.space, self.geometry.moments[self.moment]
        head = head_for(self._duration)
        width = WIDTHS[head] * space
        placed = tuple(
            Placed(
                self.moment,
                note.voice,
                note.pitch,
                left + column * width,
                self._y(note.pitch.height, is_upper),
                width,
                is_upper,
            )
            for note, column in zip(notes, columns, strict=True)
        )
        apart = max(columns, default=0) - min(columns, default=0) > 1
        stems = [[number] for number in range(len(notes))] if apart else [[*range(len(notes))]]
        drawings: list[Drawing] = []
        for stem in stems if notes else ():
            here, inks = [placed[n] for n in stem], [notes[n].ink for n in stem]
            common = inks[0] if len(set(inks)) == 1 else "player"
            drawings += self._ledgers(here, common, is_upper)
            drawings += [Sign(head, n.x, n.y, space, i) for n, i in zip(here, inks, strict=True)]
            drawings += self._dots(here, inks)
            if head in (BLACK, HALF):
                drawings += self._stem(here, common, stem_up)
        return Column(placed, tuple(drawings))

    def _astride(self, pitch: Pitch, is_upper: bool) -> bool:
        """Whether the given note, or one written here before, stands on the same place, altered
        otherwise, and has its sign: this one then stands so far to its right that its own sign has
        room between them."""
        given = (note for note, _ in self._given(is_upper))
        signed = [note for note in given if self._misread_at(note, is_upper, {}, ())]
        signed += [note.pitch for note in self.beside.notes if note.upper == is_upper]
        return any(one.height == pitch.height and one.alter != pitch.alter for one in signed)

    def _box(self, head: Placed) -> Box:
        half = self.system.space / 2
        return Box("head", head.x, head.y - half, head.x + head.width, head.y + half)

    def _y(self, height: int, is_upper: bool) -> float:
        return (self.system.treble_y if is_upper else self.system.bass_y)(height)

    def _stem(self, notes: Sequence[Placed], ink: Ink, up: bool) -> Iterator[Drawing]:
        space = self.system.space
        xs, ys = [n.x for n in notes], [n.y for n in notes]
        inset = THIN * space / 2
        x = min(xs) + notes[0].width - inset if up else max(xs) + inset
        flag = _FLAGS.get(values(self._duration)[0].length)
        long = (STEM if flag is None else _FLAGGED) * space
        start, end = (max(ys), min(ys) - long) if up else (min(ys), max(ys) + long)
        yield Stroke(x, start, x, end, THIN * space, ink)
        if flag is not None:
            yield Sign(flag[0] if up else flag[1], x - inset, end, space, ink)

    def _ledgers(self, notes: Sequence[Placed], ink: Ink, is_upper: bool) -> Iterator[Drawing]:
        space = self.system.space
        bottom, top = TREBLE if is_upper else BASS
        lines: dict[int, tuple[float, float]] = {}
        for note in notes:
            height = note.pitch.height
            for line in (*range(bottom - 2, height - 1, -2), *range(top + 2, height + 1, 2)):
                reach = (note.x - 0.35 * space, note.x + note.width + 0.35 * space)
                old = lines.get(line, reach)
                lines[line] = (min(old[0], reach[0]), max(old[1], reach[1]))
        for line, (a, b) in lines.items():
            y = self._y(line, is_upper)
            yield Stroke(a, y, b, y, 0.16 * space, ink)

    def _dots(self, notes: Sequence[Placed], inks: Sequence[Ink]) -> Iterator[Drawing]:
        """In the space above where a note stands on a line; below where that one is taken."""
        space = self.system.space
        right = max(n.x + n.width for n in notes)
        taken: set[float] = set()
        by_place = {note.y: (note, ink) for note, ink in zip(notes, inks, strict=True)}
        for note, ink in sorted(by_place.values(), key=lambda pair: pair[0].y):
            y = note.y - (space / 2 if note.pitch.height % 2 == 0 else 0.0)
            y += space if y in taken else 0.0
            taken.add(y)
            for number in range(values(self._duration)[0].dots):
                yield Sign(_DOT, right + (0.35 + 0.6 * number) * space, y, space, ink)

    def _wanted(
        self, heads: Sequence[Placed], notes: Sequence[VoiceNote], is_upper: bool
    ) -> list[tuple[int, float, float, Ink]]:
        """The signs that all notes written on one staff need: alteration, left edge and middle of
        the head, ink.

        They stand in the order of the heads they belong to. One is enough for two voices on the
        same note, unless a third stands on its place.
        """
        inks = {note.pitch: note.ink for note in notes}
        given = [pitch for pitch, _ in self._given(is_upper)]
        here = {*inks, *given, *(n.pitch for n in self.beside.notes if n.upper == is_upper)}
        left = self.geometry.moments[self.moment]
        standing = [(head.pitch, head.x) for head in heads] + [(pitch, left) for pitch in given]
        wanted: list[tuple[int, float, float, Ink]] = []
        signed: set[tuple[Pitch, float | None]] = set()
        for pitch, x in sorted(standing, key=lambda one: (-one[0].height, -one[1])):
            printed = pitch in given
            if printed and x == left and self._misread_at(pitch, is_upper, {}, ()):
                continue  # it has its sign
            alone = not any(p.height == pitch.height and p != pitch for p in here)
            head = (pitch, None if alone else x)
            if head not in signed and self._misread_at(pitch, is_upper, self.before, here):
                ink = inks.get(pitch, "player")
                wanted.append((pitch.alter, x, self._y(pitch.height, is_upper), ink))
                signed.add(head)
        return wanted

    def _misread_at(
        self, pitch: Pitch, is_upper: bool, before: Mapping[int, Column], here: Collection[Pitch]
    ) -> bool:
        """Whether a note without a sign would be read as another, or as either of two.

        A sign holds for its place through the bar, and a new system says it anew; where two notes
        that stand on one place are altered differently, here or at the moment before, nothing does.
        """
        now = self.exercise.moments[self.moment]
        if any(p.height == pitch.height and p.alter != pitch.alter for p in here):
            return True
        found = {now.key.alter(pitch.step)}
        for index in self.system.moments:
            moment = self.exercise.moments[index]
            if moment.bar != now.bar or index >= self.moment:
                continue
            given = moment.melody if is_upper else moment.bass
            struck = moment.melody_struck if is_upper else moment.bass_struck
            column = before.get(index)
            earlier = [n.pitch for n in column.notes if n.upper == is_upper] if column else []
            if given is not None and struck:
                earlier.append(given)
            found = {p.alter for p in earlier if p.height == pitch.height} or found
        return found != {pitch.alter}
