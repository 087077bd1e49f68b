"""Pass after pass in one window: each page is the page of its own pass and of no other."""

from __future__ import annotations

from dataclasses import replace

import pygame

from tests.screen.conftest import Opens
from tests.screen.hands import Hands, practise, somebody
from tests.screen.pieces import evening
from trainer.conducting.sources import DemoSource
from trainer.practice.demo import PERFECT
from trainer.practice.slips import Slip
from trainer.screen.views.after import AfterView
from trainer.screen.views.play import PlayView
from trainer.theory.realize import Solver
from trainer.theory.voicing import Voicing

Pass = tuple[tuple[Voicing, ...], tuple[Slip, ...]]


def different_passes(count: int) -> list[Pass]:
    """Realizations that differ from one another, every second one with a wrong note."""
    found = Solver(evening().moments).best(40)
    chosen = [found[number * 40 // count].voicings for number in range(count)]
    assert len(set(chosen)) == count
    return [
        (tuple(voicings), (Slip("wrong", 2 + number),) if number % 2 else ())
        for number, voicings in enumerate(chosen)
    ]


def shown(hands: Hands) -> bytes:
    hands.settle()
    return pygame.image.tobytes(hands.picture("pass-after-pass"), "RGB")


def play(hands: Hands, view: PlayView, one: Pass) -> AfterView:
    """A pass of just these voicings; ends on its marked page."""
    source = view.shell.source
    assert isinstance(source, DemoSource)
    source._voicings, source._slips = one
    source._passes = 0  # the same day: what differs is what is played
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: hands.window.room.view is not view, 60)
    after = hands.window.room.view
    assert isinstance(after, AfterView)
    return after


def test_the_page_after_any_pass_is_the_page_of_that_pass_alone(window: Opens) -> None:
    passes = different_passes(3)
    alone = []
    for one in passes:
        hands = window((1280, 800), somebody())
        view = practise(hands, evening(), manner=PERFECT)
        play(hands, view, one)
        alone.append(shown(hands))
        hands.close()
    assert len(set(alone)) == len(alone)  # pages can be told from one another
    hands = window((1280, 800), somebody())
    view = practise(hands, evening(), manner=PERFECT)
    for one, page in zip(passes, alone, strict=True):
        play(hands, view, one)
        assert shown(hands) == page
        hands.press(pygame.K_SPACE, " ")  # again


def test_a_page_is_its_own_after_changes_of_size_ground_and_text(window: Opens) -> None:
    first, second = different_passes(2)
    hands = window((1024, 640), somebody())
    view = practise(hands, evening(), manner=PERFECT)
    play(hands, view, second)
    alone = shown(hands)
    hands.close()

    hands = window((1280, 800), somebody())
    view = practise(hands, evening(), manner=PERFECT)
    play(hands, view, first)
    room = hands.window.room
    kept = room.settings
    player = replace(kept.player, ground="dark", text_scale=1.5)
    room.choose(replace(kept, players=(player,)))
    shown(hands)
    room.choose(kept)
    hands.resize(1024, 640)
    hands.press(pygame.K_SPACE, " ")
    play(hands, view, second)
    assert shown(hands) == alone
