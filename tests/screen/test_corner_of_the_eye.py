"""The beat, the count-in and the place, seen in pixels while one looks at one's hands.

A display is taken to be seen from an arm's length, 65 cm, a window of 1024x640 on one with 0.277 mm
a pixel (24 inches of 1920), one of 3840x2160 on 0.155 mm (27 inches), and the hands 30 degrees away
from it (common practice, no source).
"""

from __future__ import annotations

import math

import numpy as np
import pygame
import pytest

from tests.screen.conftest import Opens
from tests.screen.hands import SIZES, Hands, practise, somebody
from tests.screen.pieces import eight_pages, evening, extremes
from trainer.practice.demo import PERFECT
from trainer.score.exercise import Exercise
from trainer.screen.drawing.theme import contrast
from trainer.screen.parts.beating_hand import stroke
from trainer.screen.sheet.layout import Layout, layout_of
from trainer.screen.views.play import PlayView

ARM = 650.0  # mm
PITCH = {1024: 0.277, 1920: 0.277, 3840: 0.155}  # mm a pixel
AWAY = 30.0  # degrees from the hands


def pixels(hands: Hands) -> np.ndarray:
    """Rows of (red, green, blue)."""
    return pygame.surfarray.array3d(hands.surface).swapaxes(0, 1).astype(int)


def begun(
    hands: Hands, exercise: Exercise, tempo: float = 90.0, *, played: bool = True
) -> PlayView:
    more = {"manner": PERFECT} if played else {}
    view = practise(hands, exercise, demo=played, tempo=tempo, **more)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    return view


def place_of(hands: Hands) -> Layout:
    return layout_of(hands.window.room.type.measure, strip=True, figures=False)


def beat(view: PlayView, hands: Hands) -> float:
    found = view.shell.session.beat(hands.now)
    assert found is not None
    return found


def until_just_on(view: PlayView, hands: Hands, number: int) -> None:
    """The first frame of a beat of the bar, while a moment is played."""
    hands.until(lambda: beat(view, hands) % 1.0 > 0.9 and view.shell.session.current >= 1)
    hands.until(lambda: int(beat(view, hands)) == number and beat(view, hands) % 1.0 < 0.1)


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_a_beat_changes_the_edge_that_is_nearest_to_the_hands(
    window: Opens, size: tuple[int, int], ground: str
) -> None:
    """WCAG 2.2, 1.4.11: what means something stands out from what is beside it by 3 to 1."""
    hands = window(size, somebody(ground=ground))
    view = begun(hands, evening())
    area = place_of(hands).ground
    changed = {}
    for number in (2, 1):
        hands.until(lambda: beat(view, hands) % 1.0 > 0.8 and view.shell.session.current >= 1)
        before = pixels(hands)
        until_just_on(view, hands, number)
        after = pixels(hands)
        differs = (before != after).any(axis=2)
        changed[number] = int(differs[area.y :].sum())
        spots = np.argwhere(differs[area.y :])
        for y, x in spots[:: max(1, len(spots) // 50)]:
            was, now = (tuple(seen[area.y + y, x]) for seen in (before, after))
            assert contrast(was, now) >= 3
    whole = size[0] * size[1]
    print(f"{size} {ground}: {changed[1]} pixels on the first beat, {changed[2]} on another")
    assert changed[1] > 0.015 * whole
    assert 0.3 * changed[1] < changed[2] < 0.7 * changed[1]


@pytest.mark.parametrize("size", SIZES)
def test_the_count_can_be_read_from_the_corner_of_the_eye(
    window: Opens, size: tuple[int, int]
) -> None:
    """The smallest letter that is read at an angle from where one looks: 0.046 of that angle less
    0.031 degrees (Anstis, "A chart demonstrating variations in acuity with retinal position",
    Vision Research 14, 1974)."""
    hands = window(size)
    view = begun(hands, evening())
    for number in (1, 2, 3):
        hands.until(lambda n=number: int(beat(view, hands)) == n)  # type: ignore[misc]
        seconds = view.shell.session.seconds(hands.now)
        assert seconds is not None and seconds < 0  # it is still counted in
        area, theme = place_of(hands).count, hands.window.room.type.theme
        inside = pixels(hands)[area.y : area.bottom, area.x : area.right]
        rows = np.flatnonzero((np.abs(inside - theme.mark) < 40).all(axis=2).any(axis=1))
        high = math.degrees(math.atan((rows[-1] - rows[0] + 1) * PITCH[size[0]] / ARM))
        print(f"{size}: the {number} is {high:.2f} degrees high")
        assert high > 0.046 * AWAY - 0.031
    hands.until(lambda: view.shell.session.current == 1)
    inside = pixels(hands)[area.y : area.bottom, area.x : area.right]
    assert not (np.abs(inside - theme.mark) < 40).all(axis=2).any()


@pytest.mark.parametrize(
    ("size", "scale"), [(SIZES[0], 1.0), (SIZES[0], 2.0), (SIZES[1], 1.0), (SIZES[2], 1.0)]
)
def test_nothing_that_moves_lies_on_a_note_or_a_figure(
    window: Opens, size: tuple[int, int], scale: float
) -> None:
    """Without pennants, ground and count the window shows bare paper where they were."""
    found = 0
    for exercise in (evening(), extremes(), eight_pages()):
        hands = window(size, somebody(text_scale=scale))
        view = begun(hands, exercise, tempo=300, played=False)
        theme = hands.window.room.type.theme
        moments = min(12, len(exercise.moments) - 1)
        for moment in range(moments):
            hands.until(lambda v=view, m=moment: v.shell.session.current >= m)  # type: ignore[misc]
            stage = hands.window.stage
            moving = [i for i in hands.window.forme.items if moves(i.key, i.rect, stage.surface)]
            rest = [i for i in hands.window.forme.items if i not in moving]
            bare = pygame.Surface(size)
            bare.fill(theme.paper)
            for item in rest:
                item.draw(bare)
            for item in moving:
                clear = pygame.mask.from_threshold(
                    bare.subsurface(item.rect.clip(bare.get_rect())), theme.paper, (1, 1, 1, 255)
                )
                assert clear.count() == clear.get_size()[0] * clear.get_size()[1], (moment, item)
                found += 1
        hands.close()
    print(f"{size}, text {scale}: {found} places were bare paper")
    assert found > 30


def moves(key: object, rect: pygame.Rect, surface: pygame.Surface) -> bool:
    """Whether an item is a pennant or the ground."""
    if isinstance(key, tuple) and key[0] == "pennant":
        return True
    at_the_edge = rect.bottom == surface.get_height()
    return isinstance(key, tuple) and key[0] == "fill" and at_the_edge


@pytest.mark.parametrize("reduced", [False, True])
@pytest.mark.parametrize("tempo", [60.0, 120.0, 149.0, 151.0, 200.0, 400.0])
def test_it_never_flashes_more_than_three_times_a_second(
    window: Opens, tempo: float, reduced: bool
) -> None:
    """WCAG 2.2, 2.3.1: a flash is a pair of opposing changes of relative luminance by a tenth."""
    hands = window(SIZES[0], somebody(reduced_motion=reduced))
    view = begun(hands, evening(), tempo=tempo)
    area = place_of(hands).ground
    seen = []
    for _ in range(4 * 60):
        hands.frame()
        if view.shell.session.stage == "playing":
            seen.append(hands.surface.get_at((area.centerx, area.bottom - 3))[:3])
    paper, ink = hands.window.room.type.theme.paper, hands.window.room.type.theme.ink
    dark = [contrast(one, paper) > contrast(one, ink) for one in seen]
    flashes = [n for n in range(1, len(dark)) if dark[n] and not dark[n - 1]]
    most = max((sum(1 for n in flashes if f <= n < f + 60) for f in flashes), default=0)
    print(f"{tempo:g} beats a minute, reduced {reduced}: {most} flashes in a second")
    assert most <= 3
    assert most > 0


def test_in_a_quick_tempo_bars_strike_the_ground_and_then_nothing() -> None:
    assert stroke(2.0, 4, 0.41, reduced=False) == 1.0
    assert stroke(2.0, 4, 0.39, reduced=False) == 0.0
    assert stroke(1.0, 4, 0.39, reduced=False) == 1.0
    assert stroke(1.0, 2, 0.19, reduced=False) == 0.0


def test_reduced_motion_knows_two_states() -> None:
    seen = {stroke(1 + n / 100, 4, 1.0, reduced=True) for n in range(100)}
    assert seen == {0.0, 0.5}
    assert len({stroke(1 + n / 100, 4, 1.0, reduced=False) for n in range(100)}) > 40
