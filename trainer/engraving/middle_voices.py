"""The middle voices as real notes in the free middle of an engraved page.

The page is never engraved anew for them: heads, stems, accidentals and ledger lines are set into
the columns it already has, beside the given notes where they would touch them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.engraving.geometry import Geometry, System
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke
from trainer.score.exercise import Exercise
from trainer.theory.pitch import Pitch

BLACK, HALF, WHOLE, DOUBLE_WHOLE = 0xE0A4, 0xE0A3, 0xE0A2, 0xE0A0
WIDTHS = {BLACK: 1.18, HALF: 1.18, WHOLE: 1.688, DOUBLE_WHOLE: 2.396}  # heads, in staff spaces
_ACCIDENTALS = {
    -3: (0xE266, 1.9),
    -2: (0xE264, 1.65),
    -1: (0xE260, 0.9),
    0: (0xE261, 0.67),
    1: (0xE262, 1.0),
    2: (0xE263, 0.99),
    3: (0xE265, 1.9),
}  # SMuFL code point, width in staff spaces
_MIDDLE_C = 28
STEM = 3.1  # length of a stem, in staff spaces
THIN = 0.11


@dataclass(frozen=True, slots=True)
class Placed:
    """One written note: its pitch and where its head stands (left edge, middle)."""

    moment: int
    pitch: Pitch
    x: float
    y: float
    width: float


@dataclass(frozen=True, slots=True)
class Column:
    """The notes written at one moment, and how they are drawn."""

    notes: tuple[Placed, ...]
    drawings: tuple[Drawing, ...]


def write(
    exercise: Exercise,
    geometry: Geometry,
    moment: int,
    pitches: Sequence[Pitch],
    *,
    before: Mapping[int, Sequence[Pitch]] | None = None,
    ink: Ink = "player",
    inks: Mapping[Pitch, Ink] | None = None,
) -> Column:
    """Set `pitches` (not the given bass and melody) into the column of a moment.

    `before` are the notes already written, by moment, for accidentals earlier in the bar; `inks`
    sets single notes apart. KeyError if the moment is not on this page.
    """
    system = geometry.system_of(moment)
    here = exercise.moments[moment]
    sounding = [p for p in (here.melody if here.melody_struck else None,) if p is not None]
    below = [p for p in (here.bass if here.bass_struck else None,) if p is not None]
    upper = sorted((p for p in pitches if p.height >= _MIDDLE_C), key=lambda p: -p.height)
    lower = sorted((p for p in pitches if p.height < _MIDDLE_C), key=lambda p: p.height)
    staff = _Staff(exercise, geometry, system, moment, before or {}, ink, inks or {})
    above = staff.group(upper, sounding, is_upper=True)
    under = staff.group(lower, below, is_upper=False)
    return Column((*above.notes, *under.notes), (*above.drawings, *under.drawings))


def head_for(duration: Fraction) -> int:
    """The head a length in quarter notes is written with."""
    if duration >= 8:
        return DOUBLE_WHOLE
    if duration >= 4:
        return WHOLE
    return HALF if duration >= 2 else BLACK


@dataclass(frozen=True, slots=True)
class _Staff:
    exercise: Exercise
    geometry: Geometry
    system: System
    moment: int
    before: Mapping[int, Sequence[Pitch]]
    ink: Ink
    inks: Mapping[Pitch, Ink]

    def group(self, pitches: Sequence[Pitch], given: Sequence[Pitch], is_upper: bool) -> Column:
        """The notes of one staff, nearest to the given voice first, on one stem."""
        if not pitches:
            return Column((), ())
        space = self.system.space
        here = self.exercise.moments[self.moment]
        head = head_for(here.duration)
        width = WIDTHS[head] * space
        left = self.geometry.moments[self.moment]
        columns = _columns([p.height for p in pitches], given, pitches, is_upper)
        notes = tuple(
            Placed(self.moment, pitch, left + column * width, self._y(pitch, is_upper), width)
            for pitch, column in zip(pitches, columns, strict=True)
        )
        drawings: list[Drawing] = []
        drawings += self._ledgers(notes, is_upper)
        drawings += [Sign(head, n.x, n.y, space, self._ink(n.pitch)) for n in notes]
        drawings += self._dots(notes, here.duration)
        if head in (BLACK, HALF):
            drawings.append(self._stem(notes, is_upper))
        drawings += self._accidentals(notes, given, is_upper)
        return Column(notes, tuple(drawings))

    def _ink(self, pitch: Pitch) -> Ink:
        return self.inks.get(pitch, self.ink)

    def _y(self, pitch: Pitch, is_upper: bool) -> float:
        place = self.system.treble_y if is_upper else self.system.bass_y
        return place(pitch.height)

    def _stem(self, notes: Sequence[Placed], is_upper: bool) -> Stroke:
        space = self.system.space
        edges = [n.x for n in notes]
        x = max(edges) if is_upper else min(edges) + notes[0].width
        ys = [n.y for n in notes]
        start, end = (
            (min(ys), max(ys) + STEM * space)
            if is_upper
            else (
                max(ys),
                min(ys) - STEM * space,
            )
        )
        inset = THIN * space / 2
        x += inset if is_upper else -inset
        inks = {self._ink(n.pitch) for n in notes}
        ink = self.ink if len(inks) > 1 else inks.pop()
        return Stroke(x, start, x, end, THIN * space, ink)

    def _ledgers(self, notes: Sequence[Placed], is_upper: bool) -> list[Drawing]:
        space = self.system.space
        bottom, top = (30, 38) if is_upper else (18, 26)
        place = self.system.treble_y if is_upper else self.system.bass_y
        lines: dict[int, tuple[float, float]] = {}
        for note in notes:
            height = note.pitch.height
            under = range(bottom - 2, height - 1, -2)
            over = range(top + 2, height + 1, 2)
            for line in (*under, *over):
                reach = (note.x - 0.35 * space, note.x + note.width + 0.35 * space)
                old = lines.get(line, reach)
                lines[line] = (min(old[0], reach[0]), max(old[1], reach[1]))
        return [
            Stroke(a, place(line), b, place(line), 0.16 * space, self.ink)
            for line, (a, b) in lines.items()
        ]

    def _dots(self, notes: Sequence[Placed], duration: Fraction) -> list[Drawing]:
        if duration not in (Fraction(3, 2), Fraction(3), Fraction(6), Fraction(3, 4)):
            return []
        space = self.system.space
        right = max(n.x + n.width for n in notes)
        return [
            Sign(
                0xE1E7,
                right + 0.35 * space,
                n.y - (space / 2 if n.pitch.height % 2 == 0 else 0.0),
                space,
                self._ink(n.pitch),
            )
            for n in notes
        ]

    def _accidentals(
        self, notes: Sequence[Placed], given: Sequence[Pitch], is_upper: bool
    ) -> list[Drawing]:
        space = self.system.space
        left = min(n.x for n in notes)
        rows: list[list[int]] = [[]]  # columns of accidentals, nearest first
        rows[0] += [
            p.height
            for p in given
            if p.alter != self.exercise.moments[self.moment].key.alter(p.step)
        ]
        if rows[0]:
            left = min(left, self.geometry.moments[self.moment])
        widest = [1.0 if rows[0] else 0.0]
        drawings: list[Drawing] = []
        for note in sorted(notes, key=lambda n: -n.pitch.height):
            if not self._needs_accidental(note.pitch, is_upper):
                continue
            code, width = _ACCIDENTALS[note.pitch.alter]
            column = 0
            while any(abs(h - note.pitch.height) < 6 for h in rows[column]):
                column += 1
                if column == len(rows):
                    rows.append([])
                    widest.append(0.0)
            rows[column].append(note.pitch.height)
            widest[column] = max(widest[column], width)
            inward = sum(w + 0.2 for w in widest[:column]) * space
            x = left - inward - (width + 0.25) * space
            drawings.append(Sign(code, x, note.y, space, self._ink(note.pitch)))
        return drawings

    def _needs_accidental(self, pitch: Pitch, is_upper: bool) -> bool:
        """Whether the bar so far leaves this place with another alteration."""
        here = self.exercise.moments[self.moment]
        in_force = here.key.alter(pitch.step)
        for moment in self.exercise.moments[: self.moment + 1]:
            if moment.bar != here.bar:
                continue
            given = moment.melody if is_upper else moment.bass
            struck = moment.melody_struck if is_upper else moment.bass_struck
            earlier = list(self.before.get(moment.index, ())) if moment is not here else []
            if given is not None and struck:
                earlier.append(given)
            for other in earlier:
                if other.height == pitch.height:
                    in_force = other.alter
        return in_force != pitch.alter


def _columns(
    heights: Sequence[int], given: Sequence[Pitch], pitches: Sequence[Pitch], is_upper: bool
) -> list[int]:
    """In which column each head stands: 0 over the given note, 1 to the right, -1 to the left.

    Heads a second apart, or two different notes on one place, never share a column; the given
    note keeps its own. Two voices on the very same note share a head with the given voice, and
    stand side by side among themselves.
    """
    away = 1 if is_upper else -1
    taken: dict[int, list[int]] = {0: [p.height for p in given]}
    same = {(p.height, p.alter) for p in given}
    columns: list[int] = []
    for height, pitch in zip(heights, pitches, strict=True):
        if (height, pitch.alter) in same:
            same.discard((height, pitch.alter))
            columns.append(0)
            continue
        beside_given = any(abs(height - p.height) < 2 for p in given)
        tries = (away, -away, 2 * away, -2 * away) if beside_given else (0, -away, away, 2 * away)
        column = next(
            (c for c in tries if all(abs(height - h) > 1 for h in taken.get(c, []))), 3 * away
        )
        taken.setdefault(column, []).append(height)
        columns.append(column)
    return columns
