"""After the pass: the whole page with its marks, fault by fault, and what could have been."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import pygame

from trainer.conducting.setup import Setup
from trainer.conducting.shell import Shell
from trainer.judging.passes import mended
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.practice.points import Point, anew_in_words, points
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.theme import Measure, Role
from trainer.screen.parts.pass_words import figures_in_words
from trainer.screen.parts.widgets import Do, fitting, set_actions
from trainer.screen.room import Keys, Room
from trainer.screen.sheet.board import Board, Written
from trainer.screen.sheet.engraver import Sheet
from trainer.screen.sheet.hearing import (
    as_played,
    fault_track,
    keys_track,
    sounding_keys,
    voicing_keys,
)
from trainer.screen.sheet.inked import Inked
from trainer.screen.sheet.layout import Layout, layout_of
from trainer.screen.sheet.margin import set_no_fault, set_point, set_remark
from trainer.screen.views.ways_on import WaysOn
from trainer.sound.track import Track
from trainer.theory.fault import Fault


class Played(Protocol):
    """What the marked page needs of the view the pass was played in, over which it lies: its shell,
    its page with what is written there, and what comes next."""

    room: Room
    shell: Shell
    board: Board
    inked: Inked

    @property
    def again_words(self) -> str: ...

    def step(self, now: float) -> None: ...

    def head(self, forme: Forme, place: Layout) -> None: ...

    def sheet(self, place: Layout, measure: Measure) -> tuple[Sheet, pygame.Rect]: ...

    def repeat(self, setup: Setup) -> None: ...

    def go_on(self) -> None: ...

    def next(self) -> None: ...


class AfterView:
    """The marked page of one pass, over the view it was played in."""

    lively = False

    def __init__(
        self,
        room: Room,
        play: Played,
        take: Take,
        verdict: PassVerdict,
        finished: bool,
    ) -> None:
        self.room = room
        self.play = play
        self.take = take
        self.verdict = verdict
        self.finished = finished
        self.points = self._points()
        self.chosen: int | None = 0 if self.points else None
        self.remarks = play.shell.session.exercise.remarks
        self.remark: int | None = None  # which paragraph of the commentary is read
        self.pencil = False
        self.ways = WaysOn(room.errands, play.shell.session)
        self.play.board.top = 0
        self._seek_ways()
        self.choose(self.chosen)

    def _points(self) -> tuple[Point, ...]:
        """What one steps through."""
        session = self.play.shell.session
        again = session.take.begun_again
        return points(session.judge, self.verdict, session.anew, again, finished=self.finished)

    @property
    def point(self) -> Point | None:
        return None if self.chosen is None else self.points[self.chosen]

    @property
    def fault(self) -> Fault | None:
        return None if self.point is None else self.point.fault

    def step(self, now: float) -> None:
        self.play.step(now)

    def close(self) -> None:
        self.play.shell.output.stop()

    # ---- doing --------------------------------------------------------------------------------

    def key(self, event: pygame.event.Event) -> bool:
        if event.type != pygame.KEYDOWN:
            return False
        found = {
            pygame.K_RIGHT: lambda: self.step_point(1),
            pygame.K_LEFT: lambda: self.step_point(-1),
            pygame.K_PAGEDOWN: lambda: self.turn(1),
            pygame.K_PAGEUP: lambda: self.turn(-1),
            pygame.K_DOWN: lambda: self.turn(1),
            pygame.K_UP: lambda: self.turn(-1),
            pygame.K_m: self.hear_mine,
            pygame.K_s: self.hear_suggestion,
            pygame.K_f: self.hear_fault,
            pygame.K_p: self.toggle_pencil,
            pygame.K_c: self.next_remark,
            pygame.K_SPACE: self.again,
            pygame.K_a: self.again,
            pygame.K_MINUS: self.slower,
            pygame.K_KP_MINUS: self.slower,
            pygame.K_n: self.next,
            pygame.K_ESCAPE: self.leave,
        }.get(event.key)
        if found is None:
            return False
        found()
        return True

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEWHEEL:
            self.turn(-event.y)
            return True
        if event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            moment = self.play.board.moment_near(event.pos, None)
            at = [i for i, point in enumerate(self.points) if moment in point.moments]
            if at:
                later = [i for i in at if self.chosen is not None and i > self.chosen]
                self.choose((later or at)[0])
                return True
        return False

    def keys(self) -> Keys:
        return (
            ("← →", "the mark before, the next mark"),
            ("m", "hear mine"),
            ("s", "hear the suggestion from your own hands"),
            ("f", "hear the fault alone"),
            ("p", "the suggestion in pencil, on and off"),
            ("c", "the commentary, paragraph by paragraph"),
            ("↑ ↓", "the page up and down"),
            ("space", "again"),
            ("-", "again, slower"),
            ("n", "next"),
            ("escape", "leave this exercise"),
        )

    def step_point(self, by: int) -> None:
        count = len(self.points)
        if count:
            self.choose(((self.chosen or 0) + by) % count if self.chosen is not None else 0)

    def next_remark(self) -> None:
        """On to the commentary's next paragraph; after the last, back to the faults."""
        following = 0 if self.remark is None else self.remark + 1
        self.remark = following if following < len(self.remarks) else None

    def choose(self, index: int | None) -> None:
        self.chosen = index
        self.remark = None
        point, board = self.point, self.play.board
        if point is None:
            return
        if board.systems:
            system = board.system_of(point.moments[-1])
            if system not in board.in_sight(None):
                board.top = max(0, min(system, len(board.systems) - board.places))
        if point.fault is not None:
            self.ways.seek(point.fault, self.verdict)

    def turn(self, by: int) -> None:
        board = self.play.board
        board.top = max(0, min(board.top + by, len(board.systems) - board.places))

    def again(self) -> None:
        self.room.back()
        self.play.go_on()

    def slower(self) -> None:
        setup = self.play.shell.setup
        tempo = setup.conditions.tempo
        if tempo is not None:
            slow = max(10.0, float(round(tempo * 0.88)))
            setup = replace(setup, conditions=replace(setup.conditions, tempo=slow))
        self.room.back()
        self.play.repeat(setup)

    def next(self) -> None:
        self.room.back()
        self.play.next()

    def leave(self) -> None:
        self.room.back()
        self.room.back()

    def hear_mine(self) -> None:
        first, last = self._stretch()
        session = self.play.shell.session
        track = as_played(session.task, self.take, first, last)
        if track is None:
            keys = sounding_keys(
                session.exercise, self.play.inked.verdicts, self.take.conditions.supply
            )
            track = keys_track(session.exercise, keys, first, last, self.take.conditions.tempo)
        self._hear(track)

    def hear_suggestion(self) -> None:
        suggestion = self.ways.of(self.fault)
        if suggestion is None or not suggestion.voicings:
            return
        keys = voicing_keys(suggestion.voicings)
        exercise = self.play.shell.session.exercise
        first, last = min(keys), max(keys)
        self._hear(keys_track(exercise, keys, first, last, self.take.conditions.tempo))

    def hear_fault(self) -> None:
        fault = self.fault
        if fault is not None:
            exercise = self.play.shell.session.exercise
            self._hear(fault_track(exercise, fault, self.take.conditions.tempo))

    def toggle_pencil(self) -> None:
        self.pencil = not self.pencil

    def _hear(self, track: Track) -> None:
        shell = self.play.shell
        shell.output.stop()
        shell.output.play(track, shell.clock.now() + 0.05)

    def _stretch(self) -> tuple[int, int]:
        """The moments heard around what is pointed out: one before it, one after."""
        task = self.play.shell.session.task
        point = self.point
        if point is None:
            return task.first, task.last
        return max(task.first, point.moments[0] - 1), min(task.last, point.moments[-1] + 1)

    # ---- suggestions --------------------------------------------------------------------------

    def _seek_ways(self) -> None:
        """Have the sentences completed with what would have been right, if they are not yet."""
        if not self.verdict.faults or any(f.instead for f in self.verdict.faults):
            return
        session, verdict = self.play.shell.session, self.verdict

        def keep(found: PassVerdict) -> None:
            self.verdict = found
            self.points = self._points()

        self.room.errands.ask(lambda: mended(session.judge, verdict), keep)

    def _pencilled(self) -> tuple[Written, ...]:
        if not self.pencil or not self.play.board.systems:
            return ()
        return self.play.inked.pencilled(self.ways.in_pencil(self.fault, self.verdict))

    # ---- what is seen -------------------------------------------------------------------------

    def set(self, forme: Forme, now: float) -> None:
        play = self.play
        place = layout_of(forme.measure, strip=play.room.settings.player.key_strip, figures=False)
        play.head(forme, place)
        sheet, area = play.sheet(place, forme.measure)
        play.board.show(sheet, area)
        if play.board.systems:
            inked = play.inked
            written = (*inked.notes(), *inked.marks(), *inked.times(), *self._pencilled())
            play.board.set(forme, None, written)
            self._point_out(forme)
        self._margin(forme, place)
        self._sentence(forme, place)
        self._figures(forme, place)
        self._actions(forme, place)

    def _point_out(self, forme: Forme) -> None:
        """A rule above the moments that are spoken of."""
        for moment in () if self.point is None else self.point.moments:
            spot = self.play.board.spot(moment, None)
            if spot is not None:
                x, top, geometry = spot
                space = geometry.space
                y = top + max(0.0, geometry.systems[0].top - 1.2 * space)
                forme.rule(
                    x - 0.3 * space,
                    y,
                    x + 1.5 * space,
                    role="mark",
                    thickness=max(2, round(0.25 * space)),
                )

    def _margin(self, forme: Forme, place: Layout) -> None:
        if self.remark is not None:
            set_remark(forme, place.lens, self.remarks, self.remark, self.next_remark)
        elif self.chosen is None or self.point is None:
            set_no_fault(forme, place.lens, self.finished)
        else:
            set_point(forme, place.lens, self.points, self.chosen, self.step_point)

    def _sentence(self, forme: Forme, place: Layout) -> None:
        measure = forme.measure
        room = measure.width - 2 * measure.margin
        point = self.point
        self._anew(forme, place, room)
        if point is None:
            words = "No fault is marked." if self.finished else "The pass was ended before its end."
            forme.text(words, measure.margin, place.sentence, face="italic", role="soft", size=1.05)
            return
        words = point.text
        suggestion = self.ways.of(point.fault)
        if suggestion is not None and suggestion.words:
            words = f"{words}{'' if words.endswith('.') else '.'} {suggestion.words}"
        size = fitting(forme, words, room, (1.05, 0.95, 0.86, 0.78))
        role: Role = "mark" if point.kind in ("fault", "skipped") else "remark"
        forme.text(
            words, measure.margin, place.sentence, face="italic", size=size, role=role, room=room
        )

    def _anew(self, forme: Forme, place: Layout, room: float) -> None:
        """Whether what was seen while the pass went on has changed at its end, and where."""
        session = self.play.shell.session
        if not session.anew or (self.point is not None and self.point.kind == "anew"):
            return
        words = anew_in_words(session.task.exercise, session.anew)
        baseline = place.sentence - round(1.35 * forme.em)
        size = fitting(forme, words, room, (0.82, 0.76, 0.7))
        forme.text(
            words, forme.measure.margin, baseline, face="italic", size=size, role="soft", room=room
        )

    def _figures(self, forme: Forme, place: Layout) -> None:
        """Harmony, time and movement, each with what it means."""
        em, measure = forme.em, forme.measure
        tight = place.strip.height < 2.9 * em
        top = place.strip.y - 0.3 * em if place.strip.height else place.status - 4.2 * em
        columns = figures_in_words(self.verdict)
        width = (measure.width - 2 * measure.margin) / 3
        for number, (name, value, meaning) in enumerate(columns):
            x = measure.margin + number * width
            forme.text(name, x, top + 0.75 * em, face="italic", size=0.82, role="soft")
            forme.text(value, x, top + 1.85 * em, size=1.08, room=width - em)
            if not tight:
                forme.text(
                    meaning,
                    x,
                    top + 2.9 * em,
                    face="italic",
                    size=0.8,
                    role="soft",
                    room=width - em,
                )

    def _actions(self, forme: Forme, place: Layout) -> None:
        actions = [
            Do("space", self.play.again_words, self.again),
            Do("-", "slower", self.slower),
            Do("n", "next", self.next),
            Do("m", "hear mine", self.hear_mine),
        ]
        if self.fault is not None:
            pencil = "rub out the pencil" if self.pencil else "pencil it in"
            actions += [
                Do("s", "the suggestion", self.hear_suggestion),
                Do("f", "the fault alone", self.hear_fault),
                Do("p", pencil, self.toggle_pencil),
            ]
        if self.remarks:
            actions.append(Do("c", "the commentary", self.next_remark))
        set_actions(forme, place.status, actions)
