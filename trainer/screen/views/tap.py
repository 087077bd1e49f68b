"""Calibration: tap one key with the tactus, and the constant delay of keyboard and ear is known."""

from __future__ import annotations

import time
from collections.abc import Callable

import pygame

from trainer.conducting.console import Console
from trainer.errors import InputError, TrainerError
from trainer.listening.events import KeyDown
from trainer.practice.calibrate import Offset, offset, tactus
from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.beating_hand import set_tactus
from trainer.screen.parts.widgets import Do, foot_of, set_actions, set_heading
from trainer.screen.room import Keys, Room
from trainer.sound.track import Click, Track

TEMPO, BEATS, LISTEN = 80.0, 20, 4


class TapView:
    """Four beats to listen to, then sixteen to tap on any key (or the space bar)."""

    lively = True

    def __init__(
        self, room: Room, desk: Console, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.room = room
        self.desk = desk
        self._clock = clock
        self._first: float | None = None
        self._taps: list[float] = []
        self._found: Offset | None = None
        self._words = "Space begins. Listen to four beats, then tap one key on each."

    def begin(self) -> None:
        self._first = self._clock() + 1.0
        self._taps = []
        self._found = None
        self._words = "Listen …"
        beats = tactus(TEMPO, BEATS)
        clicks = tuple(Click(beat.start, beat.accent) for beat in beats)
        self.desk.output.play(Track((), clicks), self._first)

    def step(self, now: float) -> None:
        for event in self.desk.source.poll(now):
            if isinstance(event, KeyDown) and self._first is not None:
                self._taps.append(event.time)
        if self._first is None:
            return
        beat = self._beat(now)
        if beat is not None and beat >= LISTEN - 0.5:
            self._words = "Tap."
        if now > self._first + BEATS * 60 / TEMPO:
            self._measure()

    def _beat(self, now: float) -> float | None:
        return None if self._first is None else (now - self._first) * TEMPO / 60

    def _measure(self) -> None:
        assert self._first is not None
        first, self._first = self._first, None
        try:
            found = offset(self._taps, first, TEMPO, BEATS, LISTEN)
        except InputError as error:
            self._words = str(error)
            return
        self._found = found
        said = f"{1000 * found.seconds:+.0f} ms, ± {1000 * found.deviation:.0f}, {found.taps} taps"
        if not found.steady:
            self._words = f"{said}: not steady enough to be kept. Try again, as evenly as you can."
            return
        self._words = f"{said}. It is taken off from now on."
        settings = self.room.settings.with_latency(self.desk.source.name, round(found.seconds, 6))
        try:
            self.room.choose(settings)
        except TrainerError as error:
            self._words = str(error)

    def close(self) -> None:
        self.desk.output.stop()

    def key(self, event: pygame.event.Event) -> bool:
        if event.type != pygame.KEYDOWN:
            return False
        if event.key == pygame.K_ESCAPE:
            self.room.back()
        elif self._first is not None:
            self._taps.append(self._clock())
        elif event.key in (pygame.K_SPACE, pygame.K_RETURN):
            self.begin()
        else:
            return False
        return True

    def mouse(self, event: pygame.event.Event) -> bool:
        return False

    def keys(self) -> Keys:
        return (("space", "begin; then tap"), ("any key", "tap"), ("escape", "back"))

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        top = set_heading(forme, "Calibrate", self.desk.source.name)
        middle = measure.width / 2
        height = min(16 * em, measure.height * 0.45)
        area = pygame.Rect(round(middle - em), round(top + 2.5 * em), round(2 * em), round(height))
        beat = self._beat(now)
        shown = None if beat is None or beat < 0 else 1 + beat % 4
        set_tactus(
            forme,
            area,
            shown,
            4,
            reduced=self.room.settings.player.reduced_motion,
            counting_in=beat is not None and beat < LISTEN,
        )
        taps = min(len(self._taps), BEATS)
        if taps:
            forme.text(
                f"{taps} taps",
                middle,
                area.bottom + 1.6 * em,
                face="italic",
                role="soft",
                align="centre",
            )
        forme.text(
            self._words,
            middle,
            area.bottom + 3.6 * em,
            size=1.15,
            align="centre",
            room=measure.width - 2 * measure.margin,
        )
        set_actions(
            forme,
            foot_of(forme),
            (Do("space", "begin", self.begin), Do("escape", "back", self.room.back)),
        )
