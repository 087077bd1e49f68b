"""Where a teacher's marks find room: beside their notes, on nothing that is there already."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import chain, product

from trainer.engraving import mark_forms as forms
from trainer.engraving.boxes import PASSING, Occupied, box_of
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing, Sign, Stroke
from trainer.engraving.mark_forms import FORMS, MARK_INKS, RISES, SIZES, THICKNESS, Nib
from trainer.engraving.middle_voices import BLACK, WIDTHS, Column, Placed
from trainer.engraving.notes_on_paper import MIDDLE_C
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName

_AIR = 0.1  # staff spaces about a mark, all that follows too
_HEAD = WIDTHS[BLACK]
# where a mark beside a note is tried: to the right of its head and up or down, nearest first
_BESIDE = sorted(
    product([0.3 + 0.35 * n for n in range(9)], [0.5 * n for n in range(-9, 10)]),
    key=lambda place: place[0] + 1.6 * abs(place[1]),
)
_WIDEST = 1.2  # of a mark beside a note
# where a figure between two strokes is tried: along them, and up or down from their middle
_BETWEEN = sorted(
    product([0.5, 0.35, 0.65, 0.2, 0.8], [0.5 * n for n in range(-16, 17)]),
    key=lambda place: 3 * abs(place[0] - 0.5) + abs(place[1]),
)


def pen_for(
    exercise: Exercise,
    geometry: Geometry,
    columns: Mapping[int, Column],
    beside: Iterable[Drawing],
) -> Pen:
    """A pen for one page on which print, `columns` and what stands `beside` take up room."""
    notes = (drawing for column in columns.values() for drawing in column.drawings)
    taken = Occupied.by(geometry.printed, (*notes, *beside))
    return Pen(exercise, geometry, columns, taken)


@dataclass(frozen=True, slots=True)
class Pen:
    """Draws marks one after another; what it has drawn takes up room."""

    exercise: Exercise
    geometry: Geometry
    columns: Mapping[int, Column]
    taken: Occupied

    def lines(self, fault: Fault) -> tuple[Stroke, ...]:
        """The strokes of a fault that lead from note to note; they have no choice of place."""
        form = FORMS.get(fault.rule, "tick")
        nib = self._nib(fault)
        spots = self._spots(fault)
        drawn: list[Stroke] = []
        if form == "step" and len(spots) > 1:
            first, last = self._placed(*spots[0]), self._placed(*spots[-1])
            if first is not None and last is not None and self._same_system(first, last):
                drawn.append(self._between(nib, first, last))
        elif form == "parallel" and len(spots) >= 4:
            for before, after in ((0, 2), (1, 3)):
                first, last = self._placed(*spots[before]), self._placed(*spots[after])
                if first is not None and last is not None and self._same_system(first, last):
                    drawn.append(self._between(nib, first, last))
                else:
                    drawn += self._across(nib, first, last)
        self.taken.draw(drawn, PASSING)
        return tuple(drawn)

    def signs(self, fault: Fault, lines: Sequence[Stroke]) -> tuple[Drawing, ...]:
        """All else of a fault's mark, where there is room."""
        form = FORMS.get(fault.rule, "tick")
        nib = self._nib(fault)
        match form:
            case "parallel" if lines:
                return self._numeral(nib, fault, lines)
            case "step" if lines:
                return ()
            case "caret":
                return self._caret(nib, fault)
            case "join":
                return self._join(nib, self._notes(fault))
        drawings: list[Drawing] = []
        for note in self._notes(fault):
            match form:
                case "cross":
                    drawings += self._beside(note, partial(forms.cross, nib))
                case "bracket":
                    drawings += self._bracket(nib, note)
                case "arrow":
                    way = partial(forms.arrow, nib, rises=fault.rule in RISES)
                    drawings += self._beside(note, way)
                case _:
                    drawings += self._beside(note, partial(forms.tick, nib))
        return tuple(drawings)

    def gap(self, moment: int) -> tuple[Drawing, ...]:
        """The one mark of a chord that collapsed: a wide caret in its free middle."""
        if moment not in self.geometry.moments:
            return ()
        space = self.geometry.space
        wide = Nib(2 * space, THICKNESS["gross"] * space, "mark")
        x = self.geometry.moments[moment] + _HEAD / 2 * space
        return self.taken.first_free(
            (
                forms.caret(wide, x + dx * space, base, None)
                for base, dx in self._middle(moment, (0.0, 1.0, 2.0, 3.0, -1.5), 2 * space)
            ),
            _AIR * space,
        )

    def _nib(self, fault: Fault) -> Nib:
        space = self.geometry.space
        return Nib(space, THICKNESS[fault.weight] * space, MARK_INKS[fault.weight])

    # ---- the notes a fault names --------------------------------------------------------------

    def _spots(self, fault: Fault) -> list[tuple[int, VoiceName, Pitch]]:
        """Moment, voice and pitch of all that the fault names: all of its voices in each moment,
        or, where one voice answers another, one in each."""
        spots = []
        voices = fault.voices or ("bass",)
        at_once = 1 if len(fault.pitches) == len(fault.moments) else len(voices)
        for number, pitch in enumerate(fault.pitches):
            which = min(number // at_once, len(fault.moments) - 1)
            spots.append((fault.moments[which], voices[number % len(voices)], pitch))
        return spots

    def _notes(self, fault: Fault) -> list[Placed]:
        """Of a fault in two moments, the notes of the second: there it is heard."""
        spots = [s for s in self._spots(fault) if s[0] == fault.moments[-1]]
        found = [n for n in (self._placed(*spot) for spot in spots) if n is not None]
        return list({(n.x, n.y): n for n in found}.values())  # two voices on one note have one mark

    def _placed(self, moment: int, voice: VoiceName, pitch: Pitch) -> Placed | None:
        """Where the note stands: among the player's, else printed, else where it would."""
        if moment not in self.geometry.moments:
            return None
        column = self.columns.get(moment)
        same = [] if column is None else [note for note in column.notes if note.pitch == pitch]
        own = [note for note in same if note.voice == voice]
        if same:
            return (own or same)[0]
        space = self.geometry.space
        system = self.geometry.system_of(moment)
        printed = self._printed(moment, voice, pitch)
        if printed is not None:
            x, y = printed
            upper = y < (system.treble + 4 * space + system.bass) / 2
            return Placed(moment, voice, pitch, x, y, _HEAD * space, upper)
        upper = voice in ("soprano", "alto") or (voice == "tenor" and pitch.height >= MIDDLE_C)
        y = (system.treble_y if upper else system.bass_y)(pitch.height)
        x = self.geometry.moments[moment]
        return Placed(moment, voice, pitch, x, y, _HEAD * space, upper)

    def _printed(self, moment: int, voice: VoiceName, pitch: Pitch) -> tuple[float, float] | None:
        """Left edge and middle of the printed head, if this very note is printed here."""
        name = "melody" if voice == "soprano" else voice
        onset: Fraction = self.exercise.moments[moment].onset
        for index, note in enumerate(getattr(self.exercise, name)):
            if note.onset == onset and note.pitch == pitch:
                head = self.geometry.notes.get(f"{name}-{index}")
                return None if head is None else (head.x, head.y)
        return None

    def _same_system(self, first: Placed, last: Placed) -> bool:
        return self.geometry.system_of(first.moment) == self.geometry.system_of(last.moment)

    def _edge(self, note: Placed) -> float:
        """Where the heads and dots end that stand beside a note."""
        space = self.geometry.space
        level = Stroke(
            note.x, note.y, note.x + note.width + 1.4 * space, note.y, 0.8 * space, "print"
        )
        near = [box for box in self._signs_at(note.moment, level) if box[1] > note.x]
        return max([note.x + note.width, *(right for _, right in near)])

    def _front(self, note: Placed) -> float:
        """Where the accidentals and heads begin that stand before a note."""
        space = self.geometry.space
        level = Stroke(note.x - 2.6 * space, note.y, note.x, note.y, 0.8 * space, "print")
        return min([note.x, *(left for left, _ in self._signs_at(note.moment, level))])

    def _signs_at(self, moment: int, level: Stroke) -> list[tuple[float, float]]:
        """Left and right of all heads, dots and accidentals of a moment that a stroke meets."""
        column = self.columns.get(moment)
        written = [] if column is None else [d for d in column.drawings if isinstance(d, Sign)]
        around = box_of(level)
        printed = (
            box
            for box in self.geometry.printed
            if box.kind in ("head", "dot", "accidental") and box.touches(around)
        )
        boxes = [*printed, *(b for b in map(box_of, written) if b.touches(around))]
        return [(box.left, box.right) for box in boxes]

    # ---- where there is room ------------------------------------------------------------------

    def _beside(
        self, note: Placed, form: Callable[[float, float], tuple[Drawing, ...]]
    ) -> tuple[Drawing, ...]:
        """To the right of its note, or where all is full there to its left."""
        space, edge = self.geometry.space, self._edge(note)
        front = self._front(note) - _WIDEST * space
        right = (form(edge + dx * space, note.y + dy * space) for dx, dy in _BESIDE)
        left = (form(front - dx * space, note.y + dy * space) for dx, dy in _BESIDE)
        return self.taken.first_free(chain(right, left), _AIR * space)

    def _bracket(self, nib: Nib, note: Placed) -> tuple[Drawing, ...]:
        """Before its note, as near as it can stand; after it where there is no room."""
        space, arm = nib.space, 0.85 * nib.space

        def options() -> Iterator[tuple[Drawing, ...]]:
            for high, n in product((1.0, 0.7), range(20)):
                x, reach = self._front(note) - (0.45 + 0.15 * n) * space, high * arm
                yield forms.bracket(nib, x, note.y - reach, note.y + reach, opens=True)
            for high, n in product((1.0, 0.7), range(20)):
                x, reach = self._edge(note) + (0.55 + 0.15 * n) * space, high * arm
                yield forms.bracket(nib, x, note.y - reach, note.y + reach, opens=False)

        return self.taken.first_free(options(), _AIR * space)

    def _join(self, nib: Nib, notes: Sequence[Placed]) -> tuple[Drawing, ...]:
        """A bracket that embraces the notes of one chord, after them or else before; broken in the
        middle where it has no room as a whole."""
        if not notes:
            return ()
        space = nib.space
        top, bottom = min(n.y for n in notes), max(n.y for n in notes)
        if bottom - top < space:
            top, bottom = top - space / 2, bottom + space / 2
        after, ahead = max(map(self._edge, notes)), min(map(self._front, notes))

        def options() -> Iterator[tuple[Drawing, ...]]:
            for form in (forms.bracket, forms.broken_bracket):
                for n in range(28):
                    x = after + (0.6 + 0.15 * n) * space
                    yield form(nib, x, top, bottom, opens=False)
                for n in range(28):
                    x = ahead - (0.5 + 0.15 * n) * space
                    yield form(nib, x, top, bottom, opens=True)

        return self.taken.first_free(options(), _AIR * space)

    def _between(self, nib: Nib, first: Placed, last: Placed) -> Stroke:
        gap = 0.3 * nib.space
        x1, x2 = self._edge(first) + gap, self._front(last) - gap
        if x2 - x1 < nib.space:
            x1, x2 = first.x + first.width / 2, last.x + last.width / 2
        return nib.stroke(x1, first.y, x2, last.y)

    def _across(self, nib: Nib, first: Placed | None, last: Placed | None) -> Iterator[Stroke]:
        """Two stubs where a system or a page ends between the notes."""
        space = nib.space
        if first is not None:
            x = self._edge(first) + 0.3 * space
            yield nib.stroke(x, first.y, x + 2 * space, first.y)
        if last is not None:
            x = self._front(last) - 0.3 * space
            yield nib.stroke(x - 1.2 * space, last.y, x, last.y)

    def _numeral(self, nib: Nib, fault: Fault, lines: Sequence[Stroke]) -> tuple[Drawing, ...]:
        """5, 8 or 1 between the strokes, as near to their middle as there is room."""
        spots = self._spots(fault)
        size = SIZES.get(fault.rule) or _interval(spots[2][2], spots[3][2])
        pair = lines[:2]

        def at(part: float, aside: float) -> tuple[Drawing, ...]:
            x = sum(line.x1 + part * (line.x2 - line.x1) for line in pair) / len(pair)
            y = sum(line.y1 + part * (line.y2 - line.y1) for line in pair) / len(pair)
            return forms.numeral(nib, size, x, y + aside * nib.space)

        return self.taken.first_free((at(*place) for place in _BETWEEN), _AIR * nib.space)

    def _caret(self, nib: Nib, fault: Fault) -> tuple[Drawing, ...]:
        """An insertion mark in the free middle, with what should stand there."""
        moment = fault.moments[-1]
        if moment not in self.geometry.moments:
            return ()
        bass = self.exercise.moments[moment].bass
        named = bass is not None and fault.pitches
        size = _interval(fault.pitches[-1], bass) if named and bass is not None else None
        x = self.geometry.moments[moment]
        aside = (2.3, 2.0, 2.7, 3.1, 3.5, 0.6, -1.2)
        options = (
            forms.caret(nib, x + dx * nib.space, base, size)
            for base, dx in self._middle(moment, aside, 1.0 * nib.space)
        )
        return self.taken.first_free(options, _AIR * nib.space)

    def _middle(
        self, moment: int, aside: Sequence[float], high: float
    ) -> list[tuple[float, float]]:
        """Heights in the free middle with places across, the middle of the middle first; above
        and below it where it is full. `high` pixels are needed above and below."""
        system = self.geometry.system_of(moment)
        space = system.space
        middle = (system.treble + 4 * space + system.bass) / 2
        reach = (system.bass - system.treble - 4 * space) / 2 - high
        inside = max(1, int(reach / (space / 2)))
        ways = [way * n * space / 2 for n in range(inside + 12) for way in (1, -1)]
        places = [(middle + way, dx) for way in ways for dx in aside]
        cost = {dx: n for n, dx in enumerate(aside)}
        return sorted(
            places,
            key=lambda p: (abs(p[0] - middle) > reach, cost[p[1]] + abs(p[0] - middle) / space),
        )


def _interval(upper: Pitch, lower: Pitch) -> int:
    letters = abs(upper.height - lower.height) % 7
    return letters + 1 if letters else (8 if upper.height != lower.height else 1)
