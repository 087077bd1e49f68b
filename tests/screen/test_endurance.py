"""Piece after piece in one window: nothing is held that is not needed any more."""

from __future__ import annotations

import sys
import weakref
from itertools import islice

import pygame
import pytest

from tests.screen.conftest import Opens
from trainer.screen.drawing.lettering import Lettering
from trainer.screen.drawing.painter import Painted, Painter

AROUND = 4  # pieces after which all views have had their turn
VIEWS = ("PlayView", "AfterView", "ShelfView", "RecordView", "ChoicesView", "TodayView", "Shell")


@pytest.mark.skipif(sys.platform != "linux", reason="needs the accounts of Linux")
def test_after_any_number_of_pieces_no_handle_thread_process_or_view_is_left_over() -> None:
    from tests.faults.endurance import check_log, piece_after_piece, practice

    with practice() as at_work:
        samples = list(islice(piece_after_piece(at_work), 2 * AROUND))
        check_log(at_work)
    first, second = samples[:AROUND], samples[AROUND:]
    for name in first[0].figures:
        if not name.endswith("MB"):  # what memory does shows in hours only
            held = [[one.figures[name] for one in part] for part in (first, second)]
            assert max(held[1]) <= max(held[0]), name
    for view in VIEWS:
        counts = [
            [sum(n for kind, n in one.kinds.items() if kind.endswith(f".{view}")) for one in part]
            for part in (first, second)
        ]
        assert max(counts[1]) <= max(counts[0]), view


def alive(surfaces: list[weakref.ref[pygame.Surface]]) -> int:
    """The bytes of those that are still kept."""
    kept = [one for one in (ref() for ref in surfaces) if one is not None]
    return sum(one.get_width() * one.get_height() * one.get_bytesize() for one in kept)


def test_words_and_signs_drawn_once_are_kept_as_far_as_memory_is_set_aside(window: Opens) -> None:
    window()
    lettering = Lettering()
    words = [
        weakref.ref(lettering.surface(f"number {n} of many", "upright", 150, (0, 0, 0)))
        for n in range(100)
    ]
    assert 16 << 20 < alive(words) <= 24 << 20
    assert words[-1]() is lettering.surface("number 99 of many", "upright", 150, (0, 0, 0))
    painter = Painter(lettering)
    painted = [
        weakref.ref(painter.kept(n, lambda: Painted(pygame.Surface((1000, 300)), 0, 0)).surface)
        for n in range(40)
    ]
    assert 8 << 20 < alive(painted) <= 16 << 20


def test_no_more_fonts_are_open_than_a_few_views_need(window: Opens) -> None:
    window()
    lettering = Lettering()
    fonts = [weakref.ref(lettering.font("upright", size)) for size in range(20, 220)]
    assert sum(ref() is not None for ref in fonts) <= 64
    assert fonts[-1]() is lettering.font("upright", 219)
