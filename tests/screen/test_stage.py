"""Only what has changed is drawn."""

from __future__ import annotations

import os

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")

import pygame

from trainer.screen.drawing.stage import Item, Stage, filled, picture

PAPER = (244, 239, 228)


def stage() -> Stage:
    return Stage(pygame.Surface((200, 100)), PAPER)


def test_a_scene_that_stays_the_same_touches_nothing() -> None:
    board = stage()
    scene = [filled(pygame.Rect(10, 10, 20, 20), (0, 0, 0))]
    board.show(scene)
    assert board.show([filled(pygame.Rect(10, 10, 20, 20), (0, 0, 0))]) == []


def test_what_moves_touches_its_old_and_its_new_place_only() -> None:
    board = stage()
    still = filled(pygame.Rect(150, 50, 10, 10), (9, 9, 9))
    board.show([still, filled(pygame.Rect(10, 10, 5, 5), (0, 0, 0))])
    touched = board.show([still, filled(pygame.Rect(40, 10, 5, 5), (0, 0, 0))])
    assert sorted(tuple(r) for r in touched) == [(10, 10, 5, 5), (40, 10, 5, 5)]
    assert board.surface.get_at((11, 11))[:3] == PAPER
    assert board.surface.get_at((41, 11))[:3] == (0, 0, 0)


def test_what_lay_under_something_gone_is_there_again() -> None:
    board = stage()
    under = filled(pygame.Rect(0, 0, 100, 100), (10, 20, 30))
    over = picture(pygame.Surface((20, 20)), 30, 30)
    board.show([under, over])
    board.show([under])
    assert board.surface.get_at((35, 35))[:3] == (10, 20, 30)


def test_nothing_is_drawn_outside_the_piece_that_changed() -> None:
    board = stage()
    board.show([])
    careless = Item("careless", pygame.Rect(0, 0, 10, 10), lambda to: to.fill((1, 2, 3)) and None)
    board.show([careless])
    assert board.surface.get_at((5, 5))[:3] == (1, 2, 3)
    assert board.surface.get_at((50, 50))[:3] == PAPER
