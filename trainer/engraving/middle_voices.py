"""The middle voices as real notes in the free middle of an engraved page.

The page is never engraved anew for them: heads, stems, accidentals and ledger lines are set into
the columns it already has, beside the given notes where they would touch them. Soprano and alto
stand on the upper staff, the tenor where its phrase stands (`notes_on_paper`); alto and tenor of
one staff share a stem.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.engraving.boxes import Box
from trainer.engraving.chord_columns import BEYOND, columns_of
from trainer.engraving.geometry import Geometry, System
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke
from trainer.engraving.note_values import values
from trainer.engraving.notes_on_paper import BASS, TREBLE
from trainer.engraving.signs_before import accidentals_before
from trainer.score.exercise import Exercise, Note
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName

BLACK, HALF, WHOLE, DOUBLE_WHOLE = 0xE0A4, 0xE0A3, 0xE0A2, 0xE0A0
WIDTHS = {BLACK: 1.18, HALF: 1.18, WHOLE: 1.688, DOUBLE_WHOLE: 2.396}  # heads, in staff spaces
STEM = 3.1  # length of a stem, in staff spaces
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
) -> Column:
    """Set `notes` (not the given bass and melody) into the column of a moment.

    `tenor_above` puts the tenor on the upper staff; what lies more than four ledger lines from its
    staff stands on the other. `before` are the columns already written, by
    moment, for the accidentals of the bar: a printed note that they would alter gets its own sign
    back. KeyError if the moment is not on this page.
    """
    page = _Page(exercise, geometry, geometry.system_of(moment), moment, before or {})
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


@dataclass(frozen=True, slots=True)
class _Page:
    """One moment of an engraved page, and what is known of it."""

    exercise: Exercise
    geometry: Geometry
    system: System
    moment: int
    before: Mapping[int, Column]

    @property
    def _duration(self) -> Fraction:
        return self.exercise.moments[self.moment].duration

    def staff(self, notes: Sequence[VoiceNote], *, is_upper: bool) -> Column:
        """What is written on one staff: a soprano on its own stem, then the middle voices."""
        given = self._given(is_upper)
        tops = [n for n in notes if n.voice == "soprano"]
        others = [n for n in notes if n.voice != "soprano"]
        heads: list[Placed] = []
        drawings: list[Drawing] = []
        for group, stem_up in ((tops, True), (others, not is_upper)):
            if group:
                column = self._chord(group, given, is_upper=is_upper, stem_up=stem_up)
                heads += column.notes
                drawings += column.drawings
                given = [*given, *((note.pitch, self._duration) for note in group)]
        drawings += self._accidentals(heads, notes, is_upper)
        return Column(tuple(heads), tuple(drawings))

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
        self,
        notes: Sequence[VoiceNote],
        given: Sequence[tuple[Pitch, Fraction]],
        *,
        is_upper: bool,
        stem_up: bool,
    ) -> Column:
        """Notes on one stem."""
        space, left = self.system.space, self.geometry.moments[self.moment]
        ordered = sorted(notes, key=lambda n: n.pitch.height, reverse=not stem_up)
        head = head_for(self._duration)
        width = WIDTHS[head] * space

        def box(height: int, column: float) -> Box:
            x, y = left + column * width, self._y(height, is_upper)
            return Box("head", x, y - space / 2, x + width, y + space / 2)

        places = columns_of(
            [n.pitch for n in ordered],
            [pitch for pitch, _ in given],
            shared=[pitch for pitch, length in given if length == self._duration],
            stem_up=stem_up,
            blocked=lambda pitch, column: (
                self._covers(box(pitch.height, column))
                or (column < BEYOND and self._astride(pitch, is_upper))
                or self._no_room_before(box(pitch.height, column), pitch, given, is_upper)
            ),
        )
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
            for note, column in zip(ordered, places, strict=True)
        )
        inks = [note.ink for note in ordered]
        common = inks[0] if len(set(inks)) == 1 else "player"
        drawings: list[Drawing] = [*self._ledgers(placed, common, is_upper)]
        drawings += [Sign(head, n.x, n.y, space, ink) for n, ink in zip(placed, inks, strict=True)]
        drawings += self._dots(placed, inks)
        if head in (BLACK, HALF):
            drawings += self._stem(placed, common, stem_up)
        return Column(placed, tuple(drawings))

    def _covers(self, head: Box) -> bool:
        """Whether a head would cover a printed dot or accidental."""
        return any(
            box.kind in ("dot", "accidental") and box.touches(head) for box in self.geometry.printed
        )

    def _no_room_before(
        self, head: Box, pitch: Pitch, given: Sequence[tuple[Pitch, Fraction]], is_upper: bool
    ) -> bool:
        """Whether a note to the left of the given one would leave no room after the barline for
        its sign, or for the signs of both where they stand on one place."""
        space, left = self.system.space, self.geometry.moments[self.moment]
        here = [pitch for pitch, _ in given]
        clash = any(g.height == pitch.height and g.alter != pitch.alter for g in here)
        if head.left >= left or not self._misread_at(pitch, is_upper, self.before, here):
            return False
        room = (2.4 if clash else 1.25) * space
        return any(
            box.kind == "barline" and head.left - room < box.right < left
            for box in self.geometry.printed
        )

    def _astride(self, pitch: Pitch, is_upper: bool) -> bool:
        """Whether the given note stands on the same place, altered otherwise, and has its sign:
        this one then stands so far to its right that its own sign has room between them."""
        return any(
            given.height == pitch.height
            and given.alter != pitch.alter
            and self._misread_at(given, is_upper, {}, ())
            for given, _ in self._given(is_upper)
        )

    def _y(self, height: int, is_upper: bool) -> float:
        return (self.system.treble_y if is_upper else self.system.bass_y)(height)

    def _stem(self, notes: Sequence[Placed], ink: Ink, up: bool) -> Iterator[Drawing]:
        space = self.system.space
        xs, ys = [n.x for n in notes], [n.y for n in notes]
        inset = THIN * space / 2
        x = min(xs) + notes[0].width - inset if up else max(xs) + inset
        start, end = (max(ys), min(ys) - STEM * space) if up else (min(ys), max(ys) + STEM * space)
        flag = _FLAGS.get(values(self._duration)[0].length)
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

    def _accidentals(
        self, heads: Sequence[Placed], notes: Sequence[VoiceNote], is_upper: bool
    ) -> Iterable[Drawing]:
        """The signs of all notes written on one staff, clear of print and of what stands before.

        They stand in the order of the heads they belong to. One is enough for two voices on the
        same note, unless a third stands on its place.
        """
        inks = {note.pitch: note.ink for note in notes}
        given = [pitch for pitch, _ in self._given(is_upper)]
        here = {*inks, *given}
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
        last = self.before.get(self.moment - 1) if self.moment - 1 in self.system.moments else None
        return accidentals_before(
            wanted,
            heads=[(head.x, head.y, head.width) for head in heads],
            left=left,
            space=self.system.space,
            printed=self.geometry.printed,
            earlier=() if last is None else last.drawings,
        )

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
