"""Where the parts of a page with music stand in the window."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from trainer.screen.drawing.theme import Measure

# Shares of the window's height. What is followed from the corner of the eye grows with the window,
# not with the text: a larger screen stands farther off or reaches farther from the hands.
GROUND = 0.026
COUNT = 0.22


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts of a page with music stand, in pixels."""

    title: int  # baselines
    under_title: int
    rule: int
    board: pygame.Rect
    lens: pygame.Rect
    tactus: pygame.Rect
    count: pygame.Rect  # where it is counted in, at the foot of the margin beside the page
    sentence: int
    strip: pygame.Rect
    status: int
    ground: pygame.Rect  # the lower edge of the window, nearest to the hands: the beat strikes it


def layout_of(measure: Measure, *, strip: bool, figures: bool, aside: float = 8.6) -> Layout:
    """`figures` keeps room for the three figures after a pass; `aside` is the width of the lens in
    ems."""
    em, w, h, m = measure.em, measure.width, measure.height, measure.margin
    tight = h < 40 * em
    title = round((1.9 if tight else 2.7) * em)
    under = title + round((1.25 if tight else 1.55) * em)
    rule = under + round(0.6 * em)
    ground = pygame.Rect(0, h - round(GROUND * h), w, round(GROUND * h))
    status = ground.y - round((0.6 if tight else 0.85) * em)
    scarce = h < 26 * em
    strip_height = round((1.7 if scarce else 2.5 if tight else 3.1) * em) if strip else 0
    strip_top = status - round(1.3 * em) - strip_height
    foot = strip_top - round(0.5 * em)
    if figures:
        foot -= round(2.7 * em)
    sentence = foot - round(0.5 * em)
    top = rule + round((0.5 if tight else 1.1) * em)
    aside_px = round(aside * em)
    right = w - m - aside_px - round(0.8 * em)
    board = pygame.Rect(m, top, right - m, sentence - round(1.5 * em) - top)
    beside = pygame.Rect(w - m - aside_px, top, aside_px, board.height)
    count = pygame.Rect(beside.x, 0, aside_px, round(COUNT * h))
    count.bottom = beside.bottom
    gutter = pygame.Rect(round(0.08 * m), top, round(0.52 * m), 0)  # the rest is the brace's
    gutter.height = round(min(board.height, 18 * em))
    return Layout(
        title,
        under,
        rule,
        board,
        beside,
        gutter,
        count,
        sentence,
        pygame.Rect(m, strip_top, w - 2 * m, strip_height),
        status,
        ground,
    )
