"""Marks as a teacher writes them on a page, from faults and verdicts.

Two strokes and a 5 or an 8 join voices that move together; a small cross stands at a foreign
note; a caret asks for a figure that is missing; a bracket holds a note that came unprepared; an
arrow shows where a dissonance should have gone. What weighs less is drawn lighter and thinner.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from trainer.engraving.figure_drawing import DIGITS
from trainer.engraving.geometry import Geometry
from trainer.engraving.glyphs import sign
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke, to_svg
from trainer.engraving.middle_voices import Column, Placed, VoiceNote, write
from trainer.engraving.notes_on_paper import tenor_staves
from trainer.engraving.page import Page
from trainer.engraving.time_marks import time_marks
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import MIDDLE, UPPER, VoiceName, Voicing

Form = Literal["parallel", "cross", "caret", "bracket", "arrow", "join", "step", "tick"]

# rule -> how it is drawn; what is not here gets a tick beside its notes
FORMS: dict[str, Form] = {
    "missing-third": "caret",
    "missing-figure": "caret",
    "foreign-note": "cross",
    "held-too-long": "cross",
    "wrong-bass": "cross",
    "wrong-melody": "cross",
    "doubled-leading-tone": "join",
    "doubled-dissonance": "join",
    "doubled-raised-note": "join",
    "unprepared-suspension": "bracket",
    "dissonance-by-leap": "bracket",
    "unresolved-dissonance": "arrow",
    "delayed-resolution": "arrow",
    "tritone-astray": "arrow",
    "leading-tone-astray": "arrow",
    "consecutive-octaves": "parallel",
    "consecutive-unisons": "parallel",
    "consecutive-fifths": "parallel",
    "consecutives-by-contrary-motion": "parallel",
    "unequal-fifths": "parallel",
    "hidden-octave": "parallel",
    "hidden-fifth": "parallel",
    "augmented-step": "step",
    "leap-in-middle-voice": "step",
    "false-relation": "step",
    "spacing": "join",
    "crossing": "join",
    "overlap": "join",
}
_RISES = {"leading-tone-astray"}  # the arrow of all others points down
_SIZES = {
    "consecutive-octaves": 8,
    "consecutive-unisons": 1,
    "consecutive-fifths": 5,
    "unequal-fifths": 5,
    "hidden-fifth": 5,
    "hidden-octave": 8,
}
_INKS: dict[str, Ink] = {"gross": "mark", "weak": "mark", "remark": "remark"}
_THICKNESS = {"gross": 0.24, "weak": 0.15, "remark": 0.12}  # in staff spaces


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on one page. `fault` is its index in the verdict, None for a moment's own mark."""

    fault: int | None
    drawings: tuple[Drawing, ...]


def written_voices(exercise: Exercise, voicing: Voicing) -> dict[VoiceName, Pitch]:
    """The voices of a voicing that are not given, so that the player's hand is what is written."""
    names: Sequence[VoiceName] = MIDDLE if exercise.melody else UPPER
    return {name: pitch for name in names if (pitch := voicing[name]) is not None}


def played(
    exercise: Exercise, geometry: Geometry, verdicts: Sequence[MomentVerdict]
) -> dict[int, Column]:
    """The middle voices of a whole pass on this page, by moment, the tenor staff by phrase."""
    voices = {
        v.index: {} if v.voicing is None else written_voices(exercise, v.voicing) for v in verdicts
    }
    tenor = {index: notes["tenor"] for index, notes in voices.items() if "tenor" in notes}
    staves = tenor_staves(exercise, tenor)
    columns: dict[int, Column] = {}
    for index, notes in voices.items():
        if index in geometry.moments:
            written = [VoiceNote(voice, pitch) for voice, pitch in notes.items()]
            columns[index] = write(
                exercise, geometry, index, written, tenor_above=staves[index], before=columns
            )
    return columns


def marks(
    exercise: Exercise,
    geometry: Geometry,
    faults: Sequence[Fault],
    columns: Mapping[int, Column],
) -> tuple[Mark, ...]:
    """One mark for each fault that touches this page, in the order of the faults.

    `columns` are the player's notes as `played` has set them.
    """
    pen = _Pen(exercise, geometry, columns)
    found = []
    for index, fault in enumerate(faults):
        if any(moment in geometry.moments for moment in fault.moments):
            drawings = pen.draw(fault)
            if drawings:
                found.append(Mark(index, tuple(drawings)))
    return tuple(found)


def overlay(
    page: Page,
    exercise: Exercise,
    verdict: PassVerdict,
    tolerance: float,
    inks: Mapping[Ink, str] | None = None,
) -> str:
    """The player's notes and all marks of one page, as an SVG group.

    `tolerance` is the part of a beat still called in time.
    """
    columns = played(exercise, page.geometry, verdict.moments)
    drawings = [d for column in columns.values() for d in column.drawings]
    for mark in marks(exercise, page.geometry, verdict.faults, columns):
        drawings += mark.drawings
    for late in time_marks(page.geometry, verdict.moments, tolerance, columns):
        drawings += late.drawings
    return to_svg(drawings, inks)


def marked(
    page: Page,
    exercise: Exercise,
    verdict: PassVerdict,
    tolerance: float,
    inks: Mapping[Ink, str] | None = None,
) -> str:
    """The whole page as SVG with the player's notes and the marks on it."""
    drawn = overlay(page, exercise, verdict, tolerance, inks)
    return page.svg.removesuffix("</svg>") + drawn + "</svg>"


@dataclass(frozen=True, slots=True)
class _Pen:
    exercise: Exercise
    geometry: Geometry
    columns: Mapping[int, Column]
    crowded: dict[tuple[int, int], int] = field(default_factory=dict)  # marks right of a note

    def draw(self, fault: Fault) -> list[Drawing]:
        form = FORMS.get(fault.rule, "tick")
        ink = _INKS[fault.weight]
        thick = _THICKNESS[fault.weight] * self.geometry.space
        match form:
            case "parallel":
                return self._parallel(fault, ink, thick)
            case "caret":
                return self._caret(fault, ink, thick)
            case "join":
                return self._join(fault, ink, thick)
            case "step":
                return self._step(fault, ink, thick)
        drawings: list[Drawing] = []
        for note in self._notes(fault):
            match form:
                case "cross":
                    drawings += self._cross(note, ink, thick)
                case "bracket":
                    drawings += self._bracket(note, ink, thick)
                case "arrow":
                    drawings += self._arrow(note, fault.rule in _RISES, ink, thick)
                case _:
                    drawings += self._tick(note, ink, thick)
        return drawings

    def _spots(self, fault: Fault) -> list[tuple[int, VoiceName, Pitch]]:
        """Moment, voice and pitch of all that the fault names."""
        spots = []
        voices = fault.voices or ("bass",)
        for number, pitch in enumerate(fault.pitches):
            which = min(number // len(voices), len(fault.moments) - 1)
            spots.append((fault.moments[which], voices[number % len(voices)], pitch))
        return spots

    def _notes(self, fault: Fault) -> list[Placed]:
        """Of a fault in two moments, the notes of the second: there it is heard."""
        spots = [s for s in self._spots(fault) if s[0] == fault.moments[-1]]
        return [n for n in (self._placed(*spot) for spot in spots) if n is not None]

    def _placed(self, moment: int, voice: VoiceName, pitch: Pitch) -> Placed | None:
        """Where the note stands: among the player's, else among the given ones."""
        if moment not in self.geometry.moments:
            return None
        column = self.columns.get(moment)
        if column is not None:
            same = [note for note in column.notes if note.pitch == pitch]
            own = [note for note in same if note.voice == voice]
            if same:
                return (own or same)[0]
        system = self.geometry.system_of(moment)
        upper = voice != "bass" and (voice == "soprano" or pitch.height >= 28)
        y = (system.treble_y if upper else system.bass_y)(pitch.height)
        x = self.geometry.moments[moment]
        return Placed(moment, voice, pitch, x, y, 1.18 * system.space, upper)

    def _beside(self, note: Placed) -> float:
        """The free place to the right of a note: a second mark stands after the first."""
        place = (note.moment, round(note.y / self.geometry.space))
        count = self.crowded.get(place, 0)
        self.crowded[place] = count + 1
        return self._edge(note) + 1.1 * min(count, 2) * self.geometry.space

    def _edge(self, note: Placed) -> float:
        """Where the heads end that stand beside a note."""
        column = self.columns.get(note.moment)
        beside = [] if column is None else column.notes
        near = [n.x + n.width for n in beside if abs(n.y - note.y) < 0.9 * self.geometry.space]
        return max([note.x + note.width, *near])

    def _cross(self, note: Placed, ink: Ink, thick: float) -> list[Drawing]:
        space = self.geometry.space
        arm = 0.55 * space
        x, y = self._beside(note) + 0.4 * space + arm, note.y
        return [
            Stroke(x - arm, y - arm, x + arm, y + arm, thick, ink),
            Stroke(x - arm, y + arm, x + arm, y - arm, thick, ink),
        ]

    def _bracket(self, note: Placed, ink: Ink, thick: float) -> list[Drawing]:
        space = self.geometry.space
        x, arm, foot = note.x - 0.45 * space, 0.85 * space, 0.4 * space
        return [
            Stroke(x, note.y - arm, x, note.y + arm, thick, ink),
            Stroke(x, note.y - arm, x + foot, note.y - arm, thick, ink),
            Stroke(x, note.y + arm, x + foot, note.y + arm, thick, ink),
        ]

    def _arrow(self, note: Placed, rises: bool, ink: Ink, thick: float) -> list[Drawing]:
        space = self.geometry.space
        way = -1 if rises else 1
        x1, y1 = self._beside(note) + 0.25 * space, note.y + way * 0.1 * space
        x2, y2 = x1 + 1.2 * space, note.y + way * 0.85 * space
        return [
            Stroke(x1, y1, x2, y2, thick, ink),
            Stroke(x2, y2, x2 - 0.6 * space, y2 - way * 0.02 * space, thick, ink),
            Stroke(x2, y2, x2 - 0.2 * space, y2 - way * 0.6 * space, thick, ink),
        ]

    def _tick(self, note: Placed, ink: Ink, thick: float) -> list[Drawing]:
        space = self.geometry.space
        x, y = self._beside(note) + 0.35 * space, note.y + 0.2 * space
        return [
            Stroke(x, y, x + 0.35 * space, y + 0.45 * space, thick, ink),
            Stroke(
                x + 0.35 * space, y + 0.45 * space, x + 0.95 * space, y - 0.75 * space, thick, ink
            ),
        ]

    def _join(self, fault: Fault, ink: Ink, thick: float) -> list[Drawing]:
        """A bracket on the right that embraces the notes of one chord."""
        notes = self._notes(fault)
        if not notes:
            return []
        space = self.geometry.space
        x = max(self._edge(n) for n in notes) + 0.75 * space
        top, bottom = min(n.y for n in notes), max(n.y for n in notes)
        if bottom - top < space:
            top, bottom = top - space / 2, bottom + space / 2
        foot = 0.5 * space
        drawings: list[Drawing] = [Stroke(x, top, x, bottom, thick, ink)]
        drawings += [Stroke(x - foot, y, x, y, thick, ink) for y in (top, bottom)]
        return drawings

    def _step(self, fault: Fault, ink: Ink, thick: float) -> list[Drawing]:
        """One stroke from note to note."""
        spots = self._spots(fault)
        ends = [self._placed(*spots[0]), self._placed(*spots[-1])] if len(spots) > 1 else []
        first, last = [*ends, None, None][:2]
        if first is None or last is None or not self._same_system(first, last):
            return [d for n in self._notes(fault) for d in self._tick(n, ink, thick)]
        return [self._between(first, last, thick, ink)]

    def _parallel(self, fault: Fault, ink: Ink, thick: float) -> list[Drawing]:
        spots = self._spots(fault)
        if len(spots) < 4:
            return [d for n in self._notes(fault) for d in self._tick(n, ink, thick)]
        (upper1, lower1), (upper2, lower2) = (
            (self._placed(*spots[0]), self._placed(*spots[1])),
            (self._placed(*spots[2]), self._placed(*spots[3])),
        )
        size = _SIZES.get(fault.rule) or _interval(spots[2][2], spots[3][2])
        drawings: list[Drawing] = []
        lines: list[Stroke] = []
        for first, last in ((upper1, upper2), (lower1, lower2)):
            if first is not None and last is not None and self._same_system(first, last):
                lines.append(self._between(first, last, thick, ink))
            else:
                lines += self._across(first, last, thick, ink)
        drawings += lines
        if lines:
            begins_here = upper1 is None and lower1 is None
            drawings += self._numeral(size, lines, ink, above=begins_here)
        return drawings

    def _same_system(self, first: Placed, last: Placed) -> bool:
        return self.geometry.system_of(first.moment) == self.geometry.system_of(last.moment)

    def _between(self, first: Placed, last: Placed, thick: float, ink: Ink) -> Stroke:
        gap = 0.3 * self.geometry.space
        x1, x2 = first.x + first.width + gap, last.x - gap
        if x2 - x1 < self.geometry.space:
            x1, x2 = first.x + first.width / 2, last.x + last.width / 2
        return Stroke(x1, first.y, x2, last.y, thick, ink)

    def _across(
        self, first: Placed | None, last: Placed | None, thick: float, ink: Ink
    ) -> list[Stroke]:
        """Two stubs where a system or a page ends between the notes."""
        space = self.geometry.space
        stubs = []
        if first is not None:
            x = first.x + first.width + 0.3 * space
            stubs.append(Stroke(x, first.y, x + 2 * space, first.y, thick, ink))
        if last is not None:
            x = last.x - 0.3 * space
            stubs.append(Stroke(x - 1.2 * space, last.y, x, last.y, thick, ink))
        return stubs

    def _numeral(
        self, size: int, lines: Sequence[Stroke], ink: Ink, *, above: bool
    ) -> list[Drawing]:
        """5, 8 or 1 midway between the strokes, or above them where the clef is in the way."""
        space = self.geometry.space
        x = sum((line.x1 + line.x2) / 2 for line in lines[:2]) / len(lines[:2])
        y = sum((line.y1 + line.y2) / 2 for line in lines[:2]) / len(lines[:2])
        scale = 1.6 * space
        outline = sign(DIGITS[size], 4 * scale)
        left = x - (outline.left + outline.right) / 2
        if above:
            y = min(line.y1 for line in lines) - 2.2 * space
        elif len(lines) > 1 and abs(lines[0].y1 - lines[1].y1) < 2.8 * space:
            y = min(line.y1 for line in lines) - 1.1 * space
        return [Sign(DIGITS[size], left, y + scale / 2, scale, ink)]

    def _caret(self, fault: Fault, ink: Ink, thick: float) -> list[Drawing]:
        """An insertion mark in the free middle, with what should stand there."""
        moment = fault.moments[-1]
        if moment not in self.geometry.moments:
            return []
        system = self.geometry.system_of(moment)
        space = system.space
        x = self.geometry.moments[moment] + 2.3 * space  # right of heads and stems
        column = self.columns.get(moment)
        taken = [] if column is None else [note.y for note in column.notes]
        floor, ceiling = system.bass - 2.2 * space, system.treble + 6 * space
        steps = max(1, round((floor - ceiling) / (space / 2)))
        places = [ceiling + n * (floor - ceiling) / steps for n in range(steps + 1)]
        middle = (floor + ceiling) / 2
        base = max(
            places,
            key=lambda y: (min([abs(y - t) for t in taken] + [3 * space]), -abs(y - middle)),
        )
        arm = 0.6 * space
        drawings: list[Drawing] = [
            Stroke(x - arm, base, x, base - 1.4 * arm, thick, ink),
            Stroke(x, base - 1.4 * arm, x + arm, base, thick, ink),
        ]
        bass = self.exercise.moments[moment].bass
        if bass is not None and fault.pitches:
            size, scale = _interval(fault.pitches[-1], bass), 1.5 * space
            outline = sign(DIGITS[size], 4 * scale)
            left = x - (outline.left + outline.right) / 2
            drawings.append(Sign(DIGITS[size], left, base + 0.35 * space + scale, scale, ink))
        return drawings


def _interval(upper: Pitch, lower: Pitch) -> int:
    letters = abs(upper.height - lower.height) % 7
    return letters + 1 if letters else (8 if upper.height != lower.height else 1)
