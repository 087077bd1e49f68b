"""What a pass has put on the page: the player's notes and the marks, system by system."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from trainer.conducting.setup import Setup
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing, Stroke
from trainer.engraving.marks import Mark, collapsed, marks, written_voices
from trainer.engraving.middle_voices import Column, Placed, VoiceNote, write
from trainer.engraving.notes_on_paper import MIDDLE_C, free_voices, tenor_staves
from trainer.engraving.time_marks import TimeMark, time_marks
from trainer.judging.verdict import MomentVerdict
from trainer.score.exercise import Exercise
from trainer.screen.sheet.board import Board, Written
from trainer.theory.dissonance import Pending
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment
from trainer.theory.pitch import Interval, Pitch, transposed
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import VoiceName, Voicing

_Wet = tuple[int, tuple[Pitch, ...], frozenset[Pitch]]


@dataclass
class Inked:
    """Written on a board that may be engraved anew at any time; what is kept is the verdicts."""

    board: Board
    exercise: Exercise  # as it is written
    sonorities: Sequence[Sonority]
    tolerance: float  # part of a beat still called in time
    shift: Interval | None = None  # from what is played to what is written, transposing at sight
    verdicts: dict[int, MomentVerdict] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    _systems: tuple[Geometry, ...] = ()
    _columns: dict[int, Column] = field(default_factory=dict)
    _notes: dict[int, Written] = field(default_factory=dict)
    _times: dict[int, tuple[TimeMark, ...]] = field(default_factory=dict)  # by system
    _marks: dict[int, tuple[Mark, ...]] = field(default_factory=dict)  # of faults, by system
    _wet: dict[_Wet, Written] = field(default_factory=dict)  # as long as nothing else is written

    def add(self, verdict: MomentVerdict, faults: Sequence[Fault]) -> None:
        """One moment more."""
        self.verdicts[verdict.index] = verdict
        self._wet = {}
        self._catch_up()
        self._note(verdict, self._tenor_above())
        self.faults += faults
        if self.board.systems:
            concerned = {verdict.index, *(moment for fault in faults for moment in fault.moments)}
            self._mark({self.board.system_of(moment) for moment in concerned})

    def replace(self, verdicts: Sequence[MomentVerdict], faults: Sequence[Fault]) -> None:
        """All of a pass at once; of a pass that is over the faults are those drawn for its causes
        (`PassVerdict.drawn`)."""
        self.verdicts = {verdict.index: verdict for verdict in verdicts}
        self.faults = list(faults)
        self._systems = ()
        self._catch_up()

    def drop_from(self, moment: int) -> None:
        """Take back what stands from a moment on: the player begins again from there."""
        kept = [v for v in self.verdicts.values() if v.index < moment]
        self.replace(kept, [f for f in self.faults if f.moments[-1] < moment])

    @property
    def columns(self) -> Mapping[int, Column]:
        return self._columns

    def notes(self) -> tuple[Written, ...]:
        self._catch_up()
        return tuple(self._notes.values())

    def marks(self) -> tuple[Written, ...]:
        """The marks of all faults."""
        self._catch_up()
        return tuple(
            Written(system, mark.drawings)
            for system, marks in sorted(self._marks.items())
            for mark in marks
        )

    def times(self) -> tuple[Written, ...]:
        """The marks of chords out of time, and the empty places of those that were skipped."""
        self._catch_up()
        return tuple(
            Written(system, mark.drawings)
            for system, marks in sorted(self._times.items())
            for mark in marks
        )

    def pending(self, moment: int, bound: Sequence[Pending]) -> tuple[Written, ...]:
        """Beside each note of a moment that has yet to be led on, the way it is bound to go."""
        self._catch_up()
        column = self._columns.get(moment)
        if column is None or not bound:
            return ()
        system = self.board.system_of(moment)
        ways = dict(zip(self._on_page([one.pitch for one in bound]), bound, strict=True))
        space = self.board.systems[system].space
        drawings = tuple(
            dash
            for note in column.notes
            if note.pitch in ways
            for dash in note_to_come(note, ways[note.pitch].rises, space)
        )
        return (Written(system, drawings),) if drawings else ()

    def wet(
        self, moment: int, pitches: Sequence[Pitch], foreign: frozenset[Pitch]
    ) -> Written | None:
        """Notes that are down now and not judged yet."""
        self._catch_up()
        if not self.board.systems or moment in self.verdicts:
            return None
        here = moment, tuple(pitches), foreign
        if here not in self._wet:  # or the same would be written at every frame
            written = self._written_wet(*here)
            if written is None:
                return None
            self._wet[here] = written
        return self._wet[here]

    def _written_wet(
        self, moment: int, pitches: Sequence[Pitch], foreign: frozenset[Pitch]
    ) -> Written | None:
        system = self.board.system_of(moment)
        geometry = self.board.systems[system]
        if moment not in geometry.moments:
            return None
        red = set(self._on_page(list(foreign)))
        notes = [
            VoiceNote(voice, pitch, "mark" if pitch in red else "player")
            for voice, pitch in _by_height(self.exercise.moments[moment], self._on_page(pitches))
        ]
        lowest = [note.pitch for note in notes if note.voice == "tenor"]
        tenor = self._tenor() | ({moment: lowest[0]} if lowest else {})
        above = tenor_staves(self.exercise, tenor)[moment]
        column = write(
            self.exercise, geometry, moment, notes, tenor_above=above, before=self._columns
        )
        return Written(system, column.drawings)

    def pencilled(self, voicings: Mapping[int, Voicing]) -> tuple[Written, ...]:
        """Suggested middle voices in pencil, where they are not the player's."""
        found = []
        above = self._tenor_above()
        before = dict(self._columns)
        for moment in sorted(voicings):
            suggested = written_voices(self.exercise.moments[moment], voicings[moment])
            column_here = self._columns.get(moment)
            mine = () if column_here is None else [note.pitch for note in column_here.notes]
            notes = [
                VoiceNote(voice, pitch, "pencil")
                for voice, pitch in suggested.items()
                if pitch not in mine
            ]
            system = self.board.system_of(moment)
            geometry = self.board.systems[system]
            if moment in geometry.moments and notes:
                before[moment] = write(
                    self.exercise,
                    geometry,
                    moment,
                    notes,
                    tenor_above=above[moment],
                    before=before,
                    beside=column_here,
                )
                found.append(Written(system, before[moment].drawings))
        return tuple(found)

    def _catch_up(self) -> None:
        """Write everything again if the page has been engraved anew."""
        if self._systems is self.board.systems or not self.board.systems:
            return
        self._systems = self.board.systems
        self._columns, self._notes, self._marks, self._times = {}, {}, {}, {}
        self._wet = {}
        above = self._tenor_above()
        for verdict in self._in_order():
            self._note(verdict, above)
        self._mark(range(len(self._systems)))

    def _in_order(self) -> list[MomentVerdict]:
        return sorted(self.verdicts.values(), key=lambda verdict: verdict.index)

    def _tenor(self) -> dict[int, Pitch]:
        """The tenor as it is written on this page, by moment."""
        voicings = {v.index: v.voicing for v in self.verdicts.values() if v.voicing is not None}
        heard = {index: v.tenor for index, v in voicings.items() if v.tenor is not None}
        return dict(zip(heard, self._on_page(list(heard.values())), strict=True))

    def _tenor_above(self) -> tuple[bool, ...]:
        """For each moment whether the tenor stands on the upper staff."""
        return tenor_staves(self.exercise, self._tenor())

    def _note(self, verdict: MomentVerdict, above: Sequence[bool]) -> None:
        if not self.board.systems or verdict.voicing is None:
            return
        system = self.board.system_of(verdict.index)
        geometry = self.board.systems[system]
        if verdict.index not in geometry.moments:
            return
        sonority = self.sonorities[verdict.index]
        heard = written_voices(self.exercise.moments[verdict.index], verdict.voicing)
        pitches = self._on_page(list(heard.values()))
        notes = []
        for (voice, sounding), pitch in zip(heard.items(), pitches, strict=True):
            foreign = sonority.bass is not None and sonority.label(sounding) in verdict.foreign
            notes.append(VoiceNote(voice, pitch, "mark" if foreign else "player"))
        column = write(
            self.exercise,
            geometry,
            verdict.index,
            notes,
            tenor_above=above[verdict.index],
            before=self._columns,
        )
        self._columns[verdict.index] = column
        self._notes[verdict.index] = Written(system, column.drawings)

    def _mark(self, systems: Iterable[int]) -> None:
        """All marks of these systems anew, once the times are drawn: what stands beside a note
        already moves the next one on. On a long page that would hold up a frame for all of them."""
        hollow = collapsed(self.verdicts.values())
        faults = [self._fault_on_page(fault) for fault in self.faults]
        for system in systems:
            geometry = self.board.systems[system]
            verdicts = [
                verdict for verdict in self._in_order() if verdict.index in geometry.moments
            ]
            columns = {at: self._columns[at] for at in self._columns if at in geometry.moments}
            times = time_marks(geometry, verdicts, self.tolerance, columns)
            beside = [drawing for mark in times for drawing in mark.drawings]
            self._times[system] = times
            self._marks[system] = marks(
                self.exercise, geometry, faults, columns, hollow=hollow, beside=beside
            )

    def _on_page(self, pitches: Sequence[Pitch]) -> list[Pitch]:
        """Pitches as they are written on this page."""
        if self.shift is None:
            return list(pitches)
        return [transposed(pitch, self.shift) for pitch in pitches]

    def _fault_on_page(self, fault: Fault) -> Fault:
        if self.shift is None:
            return fault
        return replace(fault, pitches=tuple(self._on_page(fault.pitches)))


def note_to_come(note: Placed, rises: bool, space: float) -> tuple[Drawing, ...]:
    """Two dashes in pencil from a note to the place a step above or below it: an arrow without a
    head, that has not come to anything yet."""
    way = -1 if rises else 1
    x, y = note.x + note.width + 0.3 * space, note.y + way * 0.1 * space
    dash, gap, slope = 0.45 * space, 0.3 * space, way * 0.6

    def level(at: float) -> float:
        return y + slope * (at - x)

    return tuple(
        Stroke(left, level(left), left + dash, level(left + dash), 0.14 * space, "pencil")
        for left in (x, x + dash + gap)
    )


def _by_height(moment: Moment, pitches: Sequence[Pitch]) -> Iterator[tuple[VoiceName, Pitch]]:
    """Voices for notes nobody has assigned yet: the highest is the first that is not given, the
    lowest the tenor; one alone is the tenor below middle c."""
    first = free_voices(moment)[0]
    ordered = sorted(pitches, key=lambda pitch: -pitch.height)
    for number, pitch in enumerate(ordered):
        alone_and_high = len(ordered) == 1 and pitch.height >= MIDDLE_C
        if number == len(ordered) - 1 and not alone_and_high:
            yield "tenor", pitch
        else:
            yield first if number == 0 else "alto", pitch


def at_sight(setup: Setup) -> Interval | None:
    """By what the page is written elsewhere than it is played; None if it is not."""
    played, written = setup.exercise.bass, setup.page.bass
    for one, other in zip(played, written, strict=False):
        if one.pitch is not None and other.pitch is not None:
            return None if one.pitch == other.pitch else Interval.between(one.pitch, other.pitch)
    return None
