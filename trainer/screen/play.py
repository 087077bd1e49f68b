"""The practice view: the page, the moment, what sounds, the tactus, the keys."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pygame

from trainer.drill import after_words, before_words
from trainer.drill_shell import DrillShell
from trainer.listening.events import KeyDown, KeyUp, Onward
from trainer.listening.typing import layout
from trainer.practice.accompany import supplied
from trainer.practice.effects import (
    Begin,
    Effect,
    Hold,
    MomentJudged,
    PassBegan,
    PassEnded,
    Paused,
    Resumed,
    Say,
    Stop,
)
from trainer.practice.lens import lens
from trainer.screen.after import AfterView
from trainer.screen.board import Board, Written, spaces_for
from trainer.screen.engraver import Sheet
from trainer.screen.forme import Forme
from trainer.screen.inked import Inked
from trainer.screen.layout import Layout, layout_of
from trainer.screen.lens import read, set_lens
from trainer.screen.room import Keys, Room
from trainer.screen.stage import Item, picture
from trainer.screen.strip import Strip, set_strip, strip_for
from trainer.screen.tactus import set_tactus
from trainer.screen.theme import Colour, Measure, Role
from trainer.screen.widgets import key_in_words, post_key
from trainer.setup import Setup
from trainer.shell import Shell
from trainer.sources import HandsSource
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch

GLIDE = 0.16  # seconds the moment mark takes from moment to moment when nothing is timed
_PLACES = {getattr(pygame, f"KSCAN_{c.upper()}"): c for c in "zsxdcvgbhnjmlqwertyuiop"} | {
    pygame.KSCAN_COMMA: ",",
    pygame.KSCAN_PERIOD: ".",
    **{getattr(pygame, f"KSCAN_{n}"): str(n) for n in (2, 3, 5, 6, 7, 9, 0)},
}  # the place on the typing keyboard, whatever letter is printed there


class PlayView:
    """One exercise practised: ready, playing, paused; when the pass is over the page is marked."""

    lively = True

    def __init__(self, room: Room, shell: Shell) -> None:
        self.room = room
        self.shell = shell
        self.heading = plan_heading(shell)
        self.plan_words = ""  # what the last pass means for the plan
        self.board = Board(room.engraver)
        self.inked = self._new_ink()
        self.text = ""
        self._typed: dict[int, int] = {}  # scan code to key that it holds down
        self._pressed: int | None = None  # key held by the mouse
        self.strip: Strip | None = None
        self._glide: tuple[float, float, float, int] | None = None  # from x, to x, since, moment
        self._hair: dict[tuple[int, int, Colour], pygame.Surface] = {}
        self._wet: tuple[object, Written | None] = (None, None)

    # ---- time ---------------------------------------------------------------------------------

    def step(self, now: float) -> None:
        while (delivery := self.room.engraver.take()) is not None:
            self.board.receive(delivery)
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
                    self.text = faults[0].text
            case Paused(text) | Say(text):
                self.text = text
                if self.shell.session.stage == "ended":
                    self.plan_words = f"{self.plan_words} {text}".strip()
            case Resumed(moment=moment, text=text):
                self.inked.drop_from(moment)
                self.text = text
            case PassEnded(take, verdict, finished):
                self.let_go()
                self.plan_words = words_after(self.shell)
                if verdict.moments:
                    self.inked.replace(verdict.moments, verdict.faults)
                    self.room.open(AfterView(self.room, self, take, verdict, finished))
                else:
                    self.repeat(self.shell.setup)

    def _new_ink(self) -> Inked:
        session = self.shell.session
        return Inked(self.board, session.exercise, session.judge.sonorities)

    @property
    def in_plan(self) -> bool:
        return isinstance(self.shell, DrillShell)

    @property
    def again_words(self) -> str:
        """What the space bar does after a pass."""
        if not isinstance(self.shell, DrillShell):
            return "again"
        return "go on" if self.shell.more_to_come() else "the plan is done"

    def go_on(self) -> None:
        """After a pass: the same again, or what the plan has next."""
        if not isinstance(self.shell, DrillShell):
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

    def _ready(self) -> None:
        self.heading = plan_heading(self.shell)
        self.inked = self._new_ink()
        self.text = ""
        self._glide = None

    def let_go(self) -> None:
        """No key is held by typing or mouse any more."""
        for key in [*self._typed.values(), *([self._pressed] if self._pressed is not None else [])]:
            self._put(KeyUp(self.shell.clock.now(), key))
        self._typed.clear()
        self._pressed = None

    def close(self) -> None:
        self.let_go()
        if self.shell.session.stage in ("playing", "paused"):
            self.shell.send(Stop())
            self.shell.step()
        self.shell.output.stop()

    # ---- hands --------------------------------------------------------------------------------

    def key(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.KEYUP:
            held = self._typed.pop(event.scancode, None)
            if held is not None:
                self._put(KeyUp(self.shell.clock.now(), held))
            return held is not None
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
                return self._typed_key(event)
        return True

    def _typed_key(self, event: pygame.event.Event) -> bool:
        if not isinstance(self.shell.source, HandsSource) or event.mod & (
            pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META
        ):
            return False
        character = _PLACES.get(event.scancode) or event.unicode
        key = layout().get(character)
        if key is None or event.scancode in self._typed:
            return False
        self._typed[event.scancode] = key
        self._put(KeyDown(self.shell.clock.now(), key))
        return True

    def _put(self, event: KeyDown | KeyUp) -> None:
        if isinstance(self.shell.source, HandsSource):
            self.shell.source.put(event)

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEBUTTONUP and self._pressed is not None:
            self._put(KeyUp(self.shell.clock.now(), self._pressed))
            self._pressed = None
            return True
        if event.type == pygame.MOUSEBUTTONDOWN and event.button == 1 and self.strip is not None:
            key = self.strip.key_at(event.pos)
            if key is not None:
                self._pressed = key
                self._put(KeyDown(self.shell.clock.now(), key))
                return True
        return False

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
        self._foot(forme, place)

    def head(self, forme: Forme, place: Layout) -> None:
        measure, setup = forme.measure, self.shell.setup
        exercise, conditions = setup.exercise, setup.conditions
        right = measure.width - measure.margin
        tempo = "untimed" if conditions.tempo is None else f"{conditions.tempo:g}"
        unit = "" if conditions.tempo is None else "beats a minute"
        unit_rect = forme.text(unit, right, place.title, face="italic", size=1.05, align="right")
        edge = unit_rect.x - round(0.4 * forme.em) if unit else right
        number = forme.text(tempo, edge, place.title, size=1.7, align="right")
        room = number.x - measure.margin - 2 * forme.em
        forme.text(exercise.title, measure.margin, place.title, size=1.9, room=room)
        rung = self.heading
        wide = forme.text(
            rung,
            right,
            place.under_title,
            face="italic",
            role="soft",
            align="right",
            room=measure.width * 0.42,
        )
        left = " · ".join(part for part in self._under_title() if part)
        forme.text(
            left,
            measure.margin,
            place.under_title,
            face="italic",
            role="soft",
            room=wide.x - measure.margin - forme.em if rung else right - measure.margin,
        )
        forme.rule(measure.margin, place.rule, right, role="soft")

    def _under_title(self) -> Sequence[str]:
        setup = self.shell.setup
        exercise = setup.exercise
        page = setup.page
        key = in_words(exercise.key)
        if page.key != exercise.key:
            key = f"written in {in_words(page.key)}, played in {key}"
        step = f"course step {exercise.level}" if exercise.level else ""
        hands = {"1+3": "left hand bass, right hand three", "2+2": "two voices in each hand"}
        return (exercise.tune, key, str(exercise.metre), step, hands[setup.conditions.hands])

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
        written = (*self.inked.notes(), *self._wet_notes(), *self.inked.marks())
        self._bars_played(forme, at)
        self.board.set(forme, at, written)
        self._mark_moment(forme, at, now)

    def _bars_played(self, forme: Forme, at: int) -> None:
        """A thin rule in the margin beside the system that is being played."""
        if self.board.places < 2:
            return
        spot = self.board.spot(at, at)
        if spot is not None:
            _, top, geometry = spot
            system = geometry.systems[0]
            x = self.board.area.x + system.left - 1.7 * system.space
            forme.column(
                x - system.space,
                top + system.treble,
                top + system.bass + 4 * system.space,
                role="mark",
                thickness=max(2, round(0.2 * system.space)),
            )

    def _wet_notes(self) -> tuple[Written, ...]:
        session = self.shell.session
        pending: dict[int, tuple[int, ...]] = {
            index: chord.keys for index, chord in session.chords if index not in self.inked.verdicts
        }
        if session.stage == "playing" and session.capture.sounding:
            here = pending.get(session.current, ())
            if session.current not in self.inked.verdicts:
                pending[session.current] = tuple(sorted({*here, *session.capture.down}))
        key = (tuple(pending.items()), self.board.systems and id(self.board.systems))
        if key == self._wet[0]:
            return (self._wet[1],) if self._wet[1] is not None else ()
        found = [self._wet_column(index, keys) for index, keys in sorted(pending.items()) if keys]
        drawn = [w for w in found if w is not None]
        merged = None
        if drawn:
            together = [w for w in drawn if w.system == drawn[-1].system]
            merged = Written(
                tuple(w.key for w in together),
                together[-1].system,
                tuple(d for w in together for d in w.drawings),
            )
        self._wet = (key, merged)
        return (merged,) if merged is not None else ()

    def _wet_column(self, index: int, keys: Sequence[int]) -> Written | None:
        session = self.shell.session
        sonority = session.judge.sonorities[index]
        moment = session.exercise.moments[index]
        left = sorted(keys)
        for given in (moment.bass, moment.melody):
            if given is not None and given.midi in left:
                left.remove(given.midi)
        pitches = [sonority.spell(key) for key in left]
        foreign: frozenset[Pitch] = frozenset(
            p
            for p in pitches
            if sonority.bass is not None
            and p.midi % 12 not in sonority.allowed_pitch_classes
            and p.midi % 12 not in sonority.addition_pitch_classes
        )
        return self.inked.wet(index, pitches, foreign)

    # ---- the moment ---------------------------------------------------------------------------

    def _mark_moment(self, forme: Forme, at: int, now: float) -> None:
        spot = self.board.spot(at, at)
        if spot is None:
            return
        x, top, geometry = spot
        system = geometry.systems[0]
        x = self.moment_x(x, at, now) + 0.59 * system.space
        y1 = top + max(0.0, system.top - 1.9 * system.space)
        y2 = top + system.bottom
        tip = round(0.75 * system.space)
        colour = forme.type.theme.mark
        hair = self._hairline(math.floor(y2 - y1 - tip), int((x % 1) * 4), colour)
        left = math.floor(x) - 1
        forme.items.append(picture(hair, left, round(y1 + tip), ("hair", id(hair))))
        forme.items.append(_pennant(x, y1, tip, colour))

    def moment_x(self, x: float, at: int, now: float) -> float:
        """Where the mark is on its way from moment to moment; `x` is the moment's own place."""
        session, reduced = self.shell.session, self.room.settings.player.reduced_motion
        if reduced or session.stage != "playing":
            return x
        if session.task.line is not None:
            return self._between(session.position(now), at, x)
        if self._glide is None or self._glide[3] != at:
            begin = x if self._glide is None else self._glide[1]
            same = self._glide is not None and self.board.system_of(
                self._glide[3]
            ) == self.board.system_of(at)
            self._glide = (begin if same else x, x, now, at)
        start, end, since, _ = self._glide
        part = min(1.0, (now - since) / GLIDE)
        return start + (end - start) * part * part * (3 - 2 * part)

    def _between(self, position: float, at: int, x: float) -> float:
        """The mark's place between two moments of a system, moving evenly with time."""
        moment = self.shell.session.exercise.moments[at]
        part = (position - float(moment.onset)) / float(moment.duration)
        part = min(1.0, max(0.0, part))
        following = self.board.spot(at + 1, at) if at + 1 <= self.shell.session.task.last else None
        here = self.board.system_of(at)
        geometry = self.board.systems[here]
        if following is not None and self.board.system_of(at + 1) == here:
            return x + part * (following[0] - x)
        end = self.board.area.x + geometry.systems[0].right - 1.5 * geometry.space
        return x + part * max(0.0, min(end - x, 6 * geometry.space))

    def _hairline(self, height: int, quarter: int, colour: Colour) -> pygame.Surface:
        """An upright line a pixel and a half wide, at a quarter of a pixel."""
        key = (height, quarter, colour)
        found = self._hair.get(key)
        if found is None:
            if len(self._hair) > 64:
                self._hair.clear()
            found = pygame.Surface((4, max(1, height)), pygame.SRCALPHA)
            left = 0.25 + quarter / 4
            for column in range(4):
                cover = max(0.0, min(column + 1, left + 1.5) - max(column, left))
                found.fill((*colour, round(255 * min(1.0, cover))), (column, 0, 1, height))
            self._hair[key] = found
        return found

    # ---- beside and below the page ------------------------------------------------------------

    def _aside(self, forme: Forme, place: Layout, now: float) -> None:
        session = self.shell.session
        seen = read(
            session.moment,
            session.judge.sonorities[session.current],
            lens(session).marks,
            session.lens,
        )
        set_lens(forme, seen, place.lens)
        if self.shell.setup.conditions.tempo is not None:
            beat = session.beat(now)
            metre = session.moment.metre
            seconds = session.seconds(now)
            set_tactus(
                forme,
                place.tactus,
                beat,
                max(1, round(float(metre.bar_length / metre.beat_length))),
                reduced=self.room.settings.player.reduced_motion,
                counting_in=seconds is not None and seconds < -0.05,
            )

    def _foot(self, forme: Forme, place: Layout) -> None:
        measure = forme.measure
        width = measure.width - 2 * measure.margin
        if self.text:
            forme.text(
                self.text,
                measure.margin,
                place.sentence,
                face="italic",
                size=1.05,
                role="mark",
                room=width,
            )
        elif self.shell.session.stage == "ready":
            forme.text(
                "Space begins.",
                measure.margin,
                place.sentence,
                face="italic",
                size=1.05,
                role="soft",
                action=lambda: self.shell.send(Begin()),
            )
        if place.strip.height:
            self._set_strip(forme, place.strip)
        forme.text(
            self.status(),
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

    def _set_strip(self, forme: Forme, rect: pygame.Rect) -> None:
        session = self.shell.session
        exercise = session.exercise
        heard = [n.pitch.midi for n in (*exercise.bass, *exercise.melody) if n.pitch is not None]
        self.strip = strip_for(rect, min(heard), max(heard))
        set_strip(forme, self.strip, self._down(), None)

    def _down(self) -> Mapping[int, Role]:
        """The keys that are down and what they are: given, the player's, or foreign."""
        session = self.shell.session
        moment, sonority = session.moment, session.judge.sonorities[session.current]
        given = {p.midi for p in (moment.bass, moment.melody) if p is not None}
        down: dict[int, Role] = {}
        for key in session.capture.down:
            role: Role = "player"
            if key in given:
                role = "ink"
            elif (
                session.stage == "playing"
                and sonority.bass is not None
                and key % 12 not in sonority.allowed_pitch_classes
                and key % 12 not in sonority.addition_pitch_classes
            ):
                role = "mark"
            down[key] = role
        if session.stage == "playing":
            for key in supplied(session.task, session.current):
                down.setdefault(key, "ink")
        return down

    def status(self) -> str:
        """Keyboard, sound and what the program plays, in one line."""
        source = self.shell.source
        if isinstance(source, HandsSource):
            port = source.port
            keyboard = f"listening to {port}" if port else "no keyboard found: the letters are keys"
        else:
            keyboard = "a demo player plays"
        supply = self.shell.setup.conditions.supply
        plays = (
            f"the program plays {' and '.join(supply)}" if supply else "the program plays nothing"
        )
        parts = (keyboard, self.shell.output.about, plays, self.room.notice)
        return " · ".join(part for part in parts if part)


def _pennant(x: float, y: float, size: int, colour: Colour) -> Item:
    """The little triangle that hangs over the moment."""
    rect = pygame.Rect(math.floor(x - size) - 1, math.floor(y), 2 * size + 3, size + 1)

    def draw(to: pygame.Surface) -> None:
        fine = 4
        sheet = pygame.Surface((rect.width * fine, rect.height * fine), pygame.SRCALPHA)
        sheet.fill((*colour, 0))
        centre = (x - rect.x) * fine
        pygame.draw.polygon(
            sheet,
            colour,
            [
                (centre - 0.8 * size * fine, 0),
                (centre + 0.8 * size * fine, 0),
                (centre, size * fine),
            ],
        )
        to.blit(pygame.transform.smoothscale(sheet, rect.size), rect)

    return Item(("pennant", round(x * 4), colour), rect, draw)


def plan_heading(shell: Shell) -> str:
    """Why this is played now, in one line; nothing outside a plan."""
    if not isinstance(shell, DrillShell):
        return ""
    words = before_words(shell.drill, shell.following)
    ladder = [line for line in words if "beats a minute" in line]
    return (ladder or [*words, shell.following.part.title])[0]


def words_after(shell: Shell) -> str:
    """What the pass just ended means for the plan."""
    if not isinstance(shell, DrillShell) or not shell.drill.since:
        return ""
    return " ".join(after_words(shell.following, shell.drill.since[-1]))


def in_words(key: Key) -> str:
    """`B flat major`, `f sharp minor`."""
    return key_in_words(str(key))
