"""The practice view: the page, the moment, what sounds, the tactus, the keys."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import pygame

from trainer.conducting.setup import Setup
from trainer.conducting.shell import Shell
from trainer.conducting.sources import HandsSource
from trainer.listening.events import Onward
from trainer.practice.effects import (
    Begin,
    BegunAgain,
    Effect,
    Hold,
    MomentJudged,
    PassBegan,
    PassEnded,
    Paused,
    Resumed,
    Say,
    Stop,
    TakenBack,
)
from trainer.practice.lens import lens
from trainer.practice.points import reached
from trainer.practice.under_the_fingers import Counts, under_the_fingers
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.theme import Measure, Role
from trainer.screen.parts.beating_hand import set_count, set_ground, set_tactus
from trainer.screen.parts.letters import Letters
from trainer.screen.parts.strip import Strip, set_strip, strip_for
from trainer.screen.parts.widgets import fitting, post_key
from trainer.screen.room import Keys, Room
from trainer.screen.sheet.board import Board, spaces_for
from trainer.screen.sheet.engraver import Sheet
from trainer.screen.sheet.figure_lens import read, set_lens
from trainer.screen.sheet.heading import set_head, status_words
from trainer.screen.sheet.inked import Inked, at_sight
from trainer.screen.sheet.layout import Layout, layout_of
from trainer.screen.sheet.moment_mark import MomentMark
from trainer.screen.sheet.wet import wet_notes
from trainer.screen.views.after import AfterView
from trainer.theory.fault import WEIGHTS

_COUNTS: Mapping[Counts, Role] = {
    "leaving": "soft",
    "given": "ink",
    "added": "player",
    "foreign": "mark",
}
_LENS = 8  # ems that the lens needs: less is left of it in a small window, while it is counted in


class PlayView:
    """One exercise practised: ready, playing, paused; when the pass is over the page is marked."""

    lively = True

    def __init__(self, room: Room, shell: Shell, *, by_itself: bool = False) -> None:
        """`by_itself` begins each pass as soon as the page is there, for a demo player."""
        shell.seek_ways_later()  # no frame waits for the solver
        self.room = room
        self.shell = shell
        self.heading = self._heading()
        self.plan_words = ""  # what the last pass means for the plan
        self.board = Board(room.engraver)
        self.inked = self._new_ink()
        self.text = ""
        self._tone: Role = "mark"
        self._by_itself = by_itself
        self.letters = Letters(shell)
        self.strip: Strip | None = None
        self.mark = MomentMark(self.board)

    # ---- time ---------------------------------------------------------------------------------

    def step(self, now: float) -> None:
        while (delivery := self.room.engraver.take()) is not None:
            self.board.receive(delivery)
        if self._by_itself and self.board.ready and self.shell.session.stage == "ready":
            self.shell.send(Begin())
        for effect in self.shell.step():
            self._take(effect)

    def _take(self, effect: Effect) -> None:
        match effect:
            case PassBegan():
                self.inked = self._new_ink()
                self.text = ""
            case MomentJudged(verdict, faults):
                self.inked.add(verdict, faults)
                if faults:
                    heaviest = min(faults, key=lambda fault: WEIGHTS.index(fault.weight))
                    self.text = heaviest.text
                    self._tone = "remark" if heaviest.weight == "remark" else "mark"
            case Paused(text) | Say(text):
                self.text, self._tone = text, "mark"
                if self.shell.session.stage == "ended":
                    self.plan_words = f"{self.plan_words} {text}".strip()
            case Resumed() | BegunAgain() | TakenBack():
                self.inked.drop_from(effect.moment)
                self.text = effect.text
            case PassEnded(take, verdict, finished):
                self.let_go()
                plan = self.shell.plan
                self.plan_words = "" if plan is None else plan.words_after()
                if finished and not self.in_plan and self.shell.more_to_come():
                    self.repeat(self.shell.setup)
                    self.shell.send(Begin())
                elif any(moment.outcome != "not-played" for moment in verdict.moments):
                    self.inked.replace(reached(verdict, finished), verdict.drawn)
                    self.room.open(AfterView(self.room, self, take, verdict, finished))
                else:
                    self.repeat(self.shell.setup)

    def _new_ink(self) -> Inked:
        setup, sonorities = self.shell.setup, self.shell.session.judge.sonorities
        tolerance = setup.conditions.tolerance
        return Inked(self.board, setup.page, sonorities, tolerance, at_sight(setup))

    @property
    def in_plan(self) -> bool:
        return self.shell.plan is not None

    @property
    def again_words(self) -> str:
        """What the space bar does after a pass."""
        if not self.in_plan:
            return "again"
        return "go on" if self.shell.more_to_come() else "the plan is done"

    def go_on(self) -> None:
        """After a pass: the same again, or what the plan has next."""
        if not self.in_plan:
            self.repeat(self.shell.setup)
        elif self.shell.more_to_come():
            self.shell.again()
            self._ready()
        else:
            self.room.back()

    def next(self) -> None:
        """What comes after this exercise; without a plan the player is led back."""
        if self.in_plan:
            self.go_on()
        else:
            self.room.back()

    def repeat(self, setup: Setup) -> None:
        """Ready for a pass of this setup."""
        self.shell.again(setup)
        self._ready()

    def _heading(self) -> str:
        plan = self.shell.plan
        return "" if plan is None else plan.heading()

    def _ready(self) -> None:
        self.heading = self._heading()
        self.inked = self._new_ink()
        self.text = ""
        self.mark.forget()

    def let_go(self) -> None:
        """No key is held by typing or mouse any more."""
        self.letters.let_go()

    def close(self) -> None:
        self.let_go()
        if self.shell.session.stage in ("playing", "paused"):
            self.shell.send(Stop())
            self.shell.step()
        self.shell.output.stop()

    # ---- hands --------------------------------------------------------------------------------

    def key(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.KEYUP:
            return self.letters.key(event)
        if event.type != pygame.KEYDOWN:
            return False
        stage = self.shell.session.stage
        match event.key:
            case pygame.K_SPACE:
                self.shell.send(Hold() if stage == "playing" else Begin())
            case pygame.K_RETURN | pygame.K_KP_ENTER:
                self.shell.send(
                    Begin() if stage in ("ready", "paused") else Onward(self.shell.clock.now())
                )
            case pygame.K_ESCAPE:
                if stage in ("playing", "paused"):
                    self.shell.send(Stop())
                else:
                    self.room.back()
            case pygame.K_UP | pygame.K_DOWN if stage == "ready":
                self.change_tempo(2 if event.key == pygame.K_UP else -2)
            case pygame.K_TAB if stage == "ready":
                self.change_tempo(None)
            case _:
                return self.letters.key(event)
        return True

    def mouse(self, event: pygame.event.Event) -> bool:
        return self.letters.mouse(event, self.strip)

    def change_tempo(self, by: float | None) -> None:
        """Faster or slower before beginning; None changes between timed and untimed."""
        from dataclasses import replace

        setup = self.shell.setup
        tempo = setup.conditions.tempo
        if by is None:
            tempo = setup.exercise.tempo if tempo is None else None
        elif tempo is not None:
            tempo = min(400.0, max(10.0, tempo + by))
        self.repeat(replace(setup, conditions=replace(setup.conditions, tempo=tempo)))

    def keys(self) -> Keys:
        stage = self.shell.session.stage
        shown: Keys = (
            ("space", "pause" if stage == "playing" else "begin"),
            ("escape", "end the pass here" if stage in ("playing", "paused") else "back"),
        )
        if stage == "ready":
            shown += (("↑ ↓", "faster, slower"), ("tab", "with a clock, without"))
        if self.shell.setup.conditions.tempo is None:
            shown += (("enter", "go on to the next moment"),)
        if isinstance(self.shell.source, HandsSource):
            shown += (
                ("z to m", "keys from c, sharps in the row above"),
                ("q to p", "the octave above, sharps in the row of digits"),
                ("mouse", "press a key of the strip"),
            )
        return shown

    # ---- what is seen -------------------------------------------------------------------------

    def set(self, forme: Forme, now: float) -> None:
        player = self.room.settings.player
        place = layout_of(forme.measure, strip=player.key_strip, figures=False)
        self.head(forme, place)
        self._page(forme, place, now)
        self._aside(forme, place, now)
        self._tactus(forme, place, now)
        self._foot(forme, place)

    def head(self, forme: Forme, place: Layout) -> None:
        set_head(forme, place, self.shell.setup, self.heading)

    def sheet(self, place: Layout, measure: Measure) -> tuple[Sheet, pygame.Rect]:
        """What to engrave for a place, and where it stands: the staves begin at the margin."""
        theme, player = self.room.type.theme, self.room.settings.player
        share = min(measure.width / 1920, measure.height / 1080)
        base = max(6.5, 10 * share**0.85) * player.text_scale
        spaces = spaces_for(base)
        brace = round(46 / 18 * (self.board.space if self.board.systems else spaces[0]))
        width = place.board.width + round(46 / 18 * spaces[-1])
        sheet = Sheet(
            self.shell.setup.page, width, place.board.height, spaces, theme.ink, theme.paper
        )
        area = place.board.move(-brace, 0)
        area.width += brace
        return sheet, area

    def _page(self, forme: Forme, place: Layout, now: float) -> None:
        sheet, area = self.sheet(place, forme.measure)
        self.board.show(sheet, area)
        if self.board.trouble:
            forme.lines(
                self.board.trouble,
                place.board.x,
                place.board.y + 2 * forme.em,
                place.board.width,
                role="mark",
            )
        if not self.board.systems:
            return
        session = self.shell.session
        at = session.current
        written = [
            *self.inked.notes(),
            *wet_notes(self.inked, session),
            *self.inked.marks(),
            *self.inked.times(),
        ]
        if session.pending:
            written += self.inked.pending(session.moments[-1].index, session.pending)
        self.board.set(forme, at, tuple(written))
        self._bars_played(forme, at)
        self.mark.set(forme, session, now, reduced=self.room.settings.player.reduced_motion)

    def _bars_played(self, forme: Forme, at: int) -> None:
        """A thin rule in the margin beside the system that is being played."""
        if self.board.places < 2:
            return
        spot = self.board.spot(at, at)
        if spot is not None:
            _, top, geometry = spot
            system = geometry.systems[0]
            x = self.board.area.x + system.left - 0.9 * system.space
            forme.column(
                x - system.space,
                top + system.treble,
                top + system.bass + 4 * system.space,
                role="mark",
                thickness=max(2, round(0.2 * system.space)),
            )

    # ---- beside and below the page ------------------------------------------------------------

    def _counting_in(self, now: float) -> bool:
        seconds = self.shell.session.seconds(now)
        return seconds is not None and seconds < -0.05

    def _aside(self, forme: Forme, place: Layout, now: float) -> None:
        session = self.shell.session
        seen = read(
            session.moment,
            session.judge.sonorities[session.current],
            lens(session).marks,
            session.lens,
        )
        area = place.lens.copy()
        if self._counting_in(now):
            area.height -= place.count.height
        if area.height > _LENS * forme.em:
            set_lens(forme, seen, area)

    def _tactus(self, forme: Forme, place: Layout, now: float) -> None:
        """The beat: the hand beside the page, the ground below it, and the count before it."""
        session = self.shell.session
        if session.task.line is None:
            return
        beat, metre = session.beat(now), session.moment.metre
        beats = max(1, round(float(metre.bar_length / metre.beat_length)))
        reduced = self.room.settings.player.reduced_motion
        counting_in = self._counting_in(now)
        set_tactus(forme, place.tactus, beat, beats, reduced=reduced, counting_in=counting_in)
        if beat is None:
            return
        a_beat = session.task.line.beat_length(session.current)
        set_ground(
            forme, place.ground, beat, beats, a_beat, reduced=reduced, counting_in=counting_in
        )
        if counting_in:
            set_count(forme, place.count, beat)

    def _foot(self, forme: Forme, place: Layout) -> None:
        measure = forme.measure
        width = measure.width - 2 * measure.margin
        free = self._doings(forme, place.sentence) - measure.margin - forme.em
        words = self.text
        if not words and self.shell.session.stage == "ready":
            words = "Space begins."
        forme.text(
            words,
            measure.margin,
            place.sentence,
            face="italic",
            size=fitting(forme, words, free, (1.05, 0.95, 0.86, 0.78)),
            role=self._tone if self.text else "soft",
            room=free,
        )
        if place.strip.height:
            self._set_strip(forme, place.strip)
        forme.text(
            status_words(self.shell, self.room.notice),
            measure.margin,
            place.status,
            face="italic",
            size=0.8,
            role="soft",
            room=width - 6 * forme.em,
        )
        forme.text(
            "? keys",
            measure.width - measure.margin,
            place.status,
            face="italic",
            size=0.8,
            role="soft",
            align="right",
            action=lambda: post_key(pygame.K_QUESTION, "?"),
        )

    def _doings(self, forme: Forme, baseline: float) -> float:
        """What a mouse can do here, at the right; where it begins."""
        timed = self.shell.setup.conditions.tempo is not None
        doings = {
            "ready": [
                ("begin", pygame.K_SPACE),
                *([("slower", pygame.K_DOWN), ("faster", pygame.K_UP)] if timed else []),
                ("without a clock" if timed else "with a clock", pygame.K_TAB),
                ("back", pygame.K_ESCAPE),
            ],
            "playing": [
                ("pause", pygame.K_SPACE),
                *([] if timed else [("go on", pygame.K_RETURN)]),
                ("end here", pygame.K_ESCAPE),
            ],
            "paused": [("go on", pygame.K_SPACE), ("end here", pygame.K_ESCAPE)],
            "ended": [],
        }[self.shell.session.stage]
        x = float(forme.measure.width - forme.measure.margin)
        for words, key in reversed(doings):
            rect = forme.text(
                words, x, baseline, size=0.85, align="right", action=partial(post_key, key)
            )
            x = rect.x - 1.1 * forme.em
        return x

    def _set_strip(self, forme: Forme, rect: pygame.Rect) -> None:
        session = self.shell.session
        exercise = session.exercise
        heard = [n.pitch.midi for n in (*exercise.bass, *exercise.melody) if n.pitch is not None]
        self.strip = strip_for(rect, min(heard), max(heard))
        set_strip(forme, self.strip, self._down(), None)

    def _down(self) -> Mapping[int, Role]:
        """The keys that are down, in the colours of what they count for."""
        return {
            key: _COUNTS[counts] for key, counts in under_the_fingers(self.shell.session).items()
        }
