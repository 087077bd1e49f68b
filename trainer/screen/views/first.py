"""The first page of a first start: three plain questions, and what to be careful of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import pygame

from trainer.care import FIRST_WORDS
from trainer.errors import SettingsError
from trainer.screen.drawing.forme import POINTING_HAND, Forme
from trainer.screen.parts.widgets import Do, foot_of, set_actions
from trainer.screen.room import Keys, Room
from trainer.theory.hands import DIVISIONS


@dataclass(frozen=True, slots=True)
class Question:
    """A question and its answers: words, and the settings they stand for."""

    words: str
    answers: tuple[tuple[str, dict[str, Any]], ...]


QUESTIONS: tuple[Question, ...] = (
    Question(
        "Where are you with figures?",
        (
            ("new to them", {"begin_at": 1}),
            ("triads and sixths are familiar", {"begin_at": 10}),
            ("suspensions and sevenths too", {"begin_at": 17}),
            ("I read chorales from the figures", {"begin_at": 22}),
        ),
    ),
    Question(
        "How do you divide the hands?",
        (*((division.words, {"hands": hands}) for hands, division in DIVISIONS.items()),),
    ),
    Question(
        "What shall the program play?",
        (
            ("nothing: I play all four voices", {"supply": ()}),
            ("the melody", {"supply": ("melody",)}),
            ("bass and melody: I add the middle", {"supply": ("bass", "melody")}),
        ),
    ),
)


class FirstView:
    """Answers are chosen with the arrows; the last key goes on to the first exercise."""

    lively = False

    def __init__(self, room: Room, done: Callable[[], None]) -> None:
        self.room = room
        self._done = done
        self._answers = [0] * len(QUESTIONS)
        self._at = 0
        self._trouble = ""

    def step(self, now: float) -> None:
        return

    def close(self) -> None:
        return

    def mouse(self, event: pygame.event.Event) -> bool:
        return False

    def keys(self) -> Keys:
        return (
            ("↑ ↓", "the question before, the next one"),
            ("← →", "another answer"),
            ("enter", "go on"),
            ("escape", "go on without answering"),
        )

    def key(self, event: pygame.event.Event) -> bool:
        if event.type != pygame.KEYDOWN:
            return False
        count = len(QUESTIONS)
        match event.key:
            case pygame.K_DOWN | pygame.K_TAB:
                self._at = (self._at + 1) % count
            case pygame.K_UP:
                self._at = (self._at - 1) % count
            case pygame.K_RIGHT:
                self._answer(self._at, self._answers[self._at] + 1)
            case pygame.K_LEFT:
                self._answer(self._at, self._answers[self._at] - 1)
            case pygame.K_RETURN | pygame.K_KP_ENTER if self._at < count - 1:
                self._at += 1
            case pygame.K_RETURN | pygame.K_KP_ENTER | pygame.K_ESCAPE | pygame.K_SPACE:
                self.go_on()
            case _:
                return False
        return True

    def _answer(self, question: int, answer: int) -> None:
        self._at = question
        self._answers[question] = answer % len(QUESTIONS[question].answers)

    def go_on(self) -> None:
        """Keep the answers, and do not ask again."""
        chosen: dict[str, Any] = {"first_run_seen": True}
        for question, answer in zip(QUESTIONS, self._answers, strict=True):
            chosen |= question.answers[answer][1]
        settings = self.room.settings
        try:
            self.room.choose(settings.with_player(replace(settings.player, **chosen)))
        except SettingsError as error:
            self.room.notice = str(error)
        self._done()

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        width = min(measure.width - 2 * measure.margin, round(44 * em))
        left = (measure.width - width) / 2
        foot = foot_of(forme)
        free = foot - 1.5 * em
        cautions = forme.type.lettering.wrapped(FIRST_WORDS, "upright", 0.92 * em, width)
        below = (len(cautions) * 1.3 + 2.0) * em
        shown = range(len(QUESTIONS))
        if 1.15 * em * _rows(shown) > free - below - 5.6 * em:
            shown = range(self._at, self._at + 1)  # one question at a time where room is scarce
        rows = _rows(shown)
        pitch = min(1.6 * em, (free - below - 5.6 * em) / rows)
        block = 4.2 * em + rows * pitch + below
        y = max(2.4 * em, (free - block) / 2 + 1.5 * em)
        title = forme.text("Before the first exercise", left, y, size=1.9)
        if len(shown) == 1:
            which = f"{self._at + 1} of {len(QUESTIONS)}"
            forme.text(
                which,
                left + width,
                y,
                face="italic",
                role="soft",
                align="right",
                room=left + width - title.right - em,
            )
        y += 0.9 * em
        forme.rule(left, y, left + width, role="soft")
        y += 0.4 * em
        for number in shown:
            y = self._question(forme, number, left, y, width, pitch)
        y += 0.9 * em
        forme.rule(left, y, left + width, role="soft")
        y += 1.5 * em
        forme.lines(FIRST_WORDS, left, y, width, size=0.92, leading=1.3)
        set_actions(
            forme,
            foot,
            (
                Do("← →", "answer", lambda: self._answer(self._at, self._answers[self._at] + 1)),
                Do("enter", "go on", self.go_on),
            ),
        )

    def _question(
        self, forme: Forme, number: int, left: float, y: float, width: float, pitch: float
    ) -> float:
        """One question and its answers; returns where it ends."""
        em, question = forme.em, QUESTIONS[number]
        y += 1.3 * pitch
        if number == self._at:
            forme.text(POINTING_HAND, left - 0.5 * em, y, align="right")
        forme.text(question.words, left, y, size=1.1, face="italic")
        for index, (words, _) in enumerate(question.answers):
            y += pitch
            chosen = self._answers[number] == index
            self._mark(forme, left + 1.2 * em, y, chosen)
            rect = forme.text(
                words,
                left + 2.2 * em,
                y,
                role="ink" if chosen else "soft",
                room=width - 3 * em,
            )
            bed = pygame.Rect(round(left), rect.y, round(width), rect.height)
            forme.place(bed, partial(self._answer, number, index))
        return y + 0.15 * pitch

    def _mark(self, forme: Forme, x: float, y: float, chosen: bool) -> None:
        """A black head before the answer that holds, a white one before the others."""
        space = 0.42 * forme.em
        forme.sign(
            0xE0A4 if chosen else 0xE0A3,
            x - 0.6 * space,
            y - 0.3 * forme.em,
            space,
            "ink" if chosen else "soft",
        )


def _rows(questions: range) -> float:
    """How many rows some questions take, with the space between them."""
    return sum(len(QUESTIONS[number].answers) + 1.45 for number in questions)
