"""What a pass has put on the page: the player's notes and the marks, system by system."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from trainer.conducting.setup import Setup
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Ink
from trainer.engraving.marks import marks, written_voices
from trainer.engraving.middle_voices import Column, write
from trainer.judging.verdict import MomentVerdict
from trainer.score.exercise import Exercise
from trainer.screen.sheet.board import Board, Written
from trainer.theory.fault import Fault
from trainer.theory.pitch import Interval, Pitch, transposed
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import Voicing


@dataclass
class Inked:
    """Written on a board that may be engraved anew at any time; what is kept is the verdicts."""

    board: Board
    exercise: Exercise  # as it is written
    sonorities: Sequence[Sonority]
    shift: Interval | None = None  # from what is played to what is written, transposing at sight
    verdicts: dict[int, MomentVerdict] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    _systems: tuple[Geometry, ...] = ()
    _columns: dict[int, Column] = field(default_factory=dict)
    _notes: dict[int, Written] = field(default_factory=dict)
    _marks: dict[int, tuple[Written, ...]] = field(default_factory=dict)  # by index of the fault

    def add(self, verdict: MomentVerdict, faults: Sequence[Fault]) -> None:
        """One moment more."""
        self.verdicts[verdict.index] = verdict
        self._catch_up()
        self._note(verdict)
        if faults:
            self.faults += faults
            self._mark_all()

    def replace(self, verdicts: Sequence[MomentVerdict], faults: Sequence[Fault]) -> None:
        """All of a pass at once."""
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

    def marks(self, only: int | None = None) -> tuple[Written, ...]:
        """The marks of all faults, or of one by its index."""
        self._catch_up()
        chosen = self._marks.values() if only is None else [self._marks.get(only, ())]
        return tuple(mark for parts in chosen for mark in parts)

    def wet(
        self, moment: int, pitches: Sequence[Pitch], foreign: frozenset[Pitch]
    ) -> Written | None:
        """Notes that are down now and not judged yet."""
        if not self.board.systems or moment in self.verdicts:
            return None
        system = self.board.system_of(moment)
        geometry = self.board.systems[system]
        if moment not in geometry.moments:
            return None
        column = write(
            self.exercise,
            geometry,
            moment,
            self._on_page(pitches),
            before=self._before(),
            inks=dict.fromkeys(self._on_page(list(foreign)), "mark"),
        )
        return Written(system, column.drawings)

    def pencilled(self, voicings: Mapping[int, Voicing]) -> tuple[Written, ...]:
        """Suggested middle voices in pencil, where they are not the player's."""
        found = []
        before: dict[int, Sequence[Pitch]] = {}
        for moment in sorted(voicings):
            column_here = self._columns.get(moment)
            mine = () if column_here is None else [note.pitch for note in column_here.notes]
            pitches = [p for p in written_voices(self.exercise, voicings[moment]) if p not in mine]
            system = self.board.system_of(moment)
            geometry = self.board.systems[system]
            if moment in geometry.moments and pitches:
                column = write(
                    self.exercise, geometry, moment, pitches, before=before, ink="pencil"
                )
                found.append(Written(system, column.drawings))
            before[moment] = pitches
        return tuple(found)

    def _catch_up(self) -> None:
        """Write everything again if the page has been engraved anew."""
        if self._systems is self.board.systems or not self.board.systems:
            return
        self._systems = self.board.systems
        self._columns, self._notes, self._marks = {}, {}, {}
        for verdict in sorted(self.verdicts.values(), key=lambda v: v.index):
            self._note(verdict)
        self._mark_all()

    def _before(self) -> dict[int, tuple[Pitch, ...]]:
        return {
            index: tuple(note.pitch for note in column.notes)
            for index, column in self._columns.items()
        }

    def _note(self, verdict: MomentVerdict) -> None:
        if not self.board.systems or verdict.voicing is None:
            return
        system = self.board.system_of(verdict.index)
        geometry = self.board.systems[system]
        if verdict.index not in geometry.moments:
            return
        played = written_voices(self.exercise, verdict.voicing)
        pitches = self._on_page(played)
        sonority = self.sonorities[verdict.index]
        inks: dict[Pitch, Ink] = {}
        if sonority.bass is not None:
            inks = {
                pitch: "mark"
                for pitch, sounding in zip(pitches, played, strict=True)
                if sonority.label(sounding) in verdict.foreign
            }
        column = write(
            self.exercise, geometry, verdict.index, pitches, before=self._before(), inks=inks
        )
        self._columns[verdict.index] = column
        self._notes[verdict.index] = Written(system, column.drawings)

    def _mark_all(self) -> None:
        """All marks: what stands beside a note already moves the next one on."""
        if not self.board.systems:
            return
        found: dict[int, list[Written]] = {}
        faults = [self._fault_on_page(fault) for fault in self.faults]
        for system, geometry in enumerate(self.board.systems):
            for mark in marks(self.exercise, geometry, faults, self._columns):
                assert mark.fault is not None
                found.setdefault(mark.fault, []).append(Written(system, mark.drawings))
        self._marks = {index: tuple(parts) for index, parts in found.items()}

    def _on_page(self, pitches: Sequence[Pitch]) -> list[Pitch]:
        """Pitches as they are written on this page."""
        if self.shift is None:
            return list(pitches)
        return [transposed(pitch, self.shift) for pitch in pitches]

    def _fault_on_page(self, fault: Fault) -> Fault:
        return replace(fault, pitches=tuple(self._on_page(fault.pitches)))


def at_sight(setup: Setup) -> Interval | None:
    """By what the page is written elsewhere than it is played; None if it is not."""
    played, written = setup.exercise.bass, setup.page.bass
    for one, other in zip(played, written, strict=False):
        if one.pitch is not None and other.pitch is not None:
            return None if one.pitch == other.pitch else Interval.between(one.pitch, other.pitch)
    return None
