"""The practice view, played by the demo player and by hand, seen as pictures."""

from __future__ import annotations

import pygame
import pytest

from tests.screen.conftest import Opens
from tests.screen.hands import SIZES, Hands, LettersOnly, chord, practise, somebody
from tests.screen.pieces import eight_pages, evening, extremes, hymn, seven_flats
from trainer.listening.events import KeyDown, PortFound, PortLost
from trainer.listening.manuals import Manual
from trainer.practice.demo import PERFECT
from trainer.practice.lens import lens
from trainer.practice.slips import Slip
from trainer.score.exercise import Exercise
from trainer.screen.sheet.heading import status_words
from trainer.screen.views.after import AfterView
from trainer.screen.views.play import PlayView


def inked(surface: pygame.Surface, rect: pygame.Rect, colour: tuple[int, int, int]) -> int:
    """How many pixels of a rectangle are nearly of a colour."""
    part = surface.subsurface(rect.clip(surface.get_rect()))
    mask = pygame.mask.from_threshold(part, colour, (40, 40, 40, 255))
    return mask.count()


def play_to_the_end(hands: Hands, view: PlayView) -> AfterView:
    hands.until(lambda: hands.window.room.view is not view, 60)
    hands.settle()
    after = hands.window.room.view
    assert isinstance(after, AfterView)
    return after


@pytest.mark.parametrize("size", SIZES)
def test_a_pass_is_played_and_marked_at_every_size(window: Opens, size: tuple[int, int]) -> None:
    hands = window(size)
    view = practise(hands, evening(), slips=[Slip("wrong", 3)], manner=PERFECT)
    hands.settle()
    hands.picture("play-ready")
    theme = hands.window.room.type.theme
    assert inked(hands.surface, view.board.area, theme.ink) > 800
    hands.press(pygame.K_SPACE, " ")
    assert view.shell.session.stage == "playing"
    hands.until(lambda: view.shell.session.current == 5)
    hands.picture("play-playing")
    assert inked(hands.surface, view.board.area, theme.player) > 50
    assert inked(hands.surface, view.board.area, theme.mark) > 50
    after = play_to_the_end(hands, view)
    hands.picture("after")
    assert after.fault is not None and after.fault.rule == "foreign-note"
    hands.press(pygame.K_p, "p")
    hands.picture("after-pencil")
    assert inked(hands.surface, view.board.area, theme.pencil) > 20


@pytest.mark.parametrize("size", SIZES)
def test_who_begins_again_is_followed_on_the_page(window: Opens, size: tuple[int, int]) -> None:
    """What was played from there on is taken off the page, the mark stands where the player is, and
    in the end the page is that of a pass without a mistake, which says that it was begun again."""
    hands = window(size)
    slips = [Slip("wrong", 6), Slip("again", 6)]
    view = practise(hands, hymn(), slips=slips, manner=PERFECT, tempo=90)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: bool(view.shell.session.pauses), 60)
    session = view.shell.session
    first = session.pauses[0][2]  # type: ignore[misc]
    assert first <= session.current <= first + 3  # within three chords
    assert all(index < session.current + 1 for index in view.inked.verdicts)
    assert view.text.startswith("you began again from bar")
    hands.picture("play-begun-again")
    after = play_to_the_end(hands, view)
    hands.picture("after-begun-again")
    assert {one.outcome for one in after.verdict.moments} == {"complete"}
    assert after.points[0].kind == "again" and after.points[0].moments == (first,)


def test_the_moment_mark_stands_over_the_moment_that_sounds(window: Opens) -> None:
    hands = window((1920, 1080))
    view = practise(hands, evening(), manner=PERFECT, tempo=100)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    mark = hands.window.room.type.theme.mark
    for moment in (2, 5, 8):
        hands.until(lambda m=moment: view.shell.session.current == m)  # type: ignore[misc]
        spot = view.board.spot(moment, moment)
        assert spot is not None
        x, top, geometry = spot
        column = pygame.Rect(round(x) - 2, round(top), round(2.2 * geometry.space), 60)
        assert inked(hands.surface, column, mark) > 10
        other = pygame.Rect(round(x) - 140, round(top), 90, 24)
        assert inked(hands.surface, other, mark) == 0


def test_the_mark_glides_and_with_reduced_motion_jumps(window: Opens) -> None:
    places: dict[bool, set[float]] = {}
    for reduced in (False, True):
        hands = window((1280, 800), somebody(reduced_motion=reduced))
        view = practise(hands, evening(), manner=PERFECT)
        hands.settle()
        hands.press(pygame.K_SPACE, " ")
        hands.until(lambda v=view: v.shell.session.current == 2)  # type: ignore[misc]
        seen = set()
        while view.shell.session.current == 2:
            x = view.mark.x(view.shell.session, hands.now, reduced=reduced)
            seen.add(round(x, 2))
            hands.frame()
        places[reduced] = seen
        hands.close()
    assert len(places[False]) > 5
    assert len(places[True]) == 1


def test_keys_on_two_manuals_are_drawn_where_they_lie(window: Opens) -> None:
    """Page, lens and strip show keys, whatever their manuals are told; the same key on two is one
    on the strip."""
    hands = window((1280, 800), somebody(supply=("bass", "melody")))
    view = practise(hands, hymn(), demo=False, tempo=None)
    source = view.shell.source
    assert isinstance(source, LettersOnly)
    hands.settle()
    hands.press(pygame.K_RETURN)
    player = hands.window.room.type.theme.player
    before = inked(hands.surface, view.board.area, player)
    for manual in (Manual.LEFT_HAND, Manual.RIGHT_HAND):
        source.put(KeyDown(hands.now, 71, 70, manual))
    source.put(KeyDown(hands.now, 67, 70, Manual.BASS))
    hands.frame(3)
    down = view._down()
    assert {67, 71} <= down.keys() and all(0 <= key < 128 for key in down)
    assert down[71] == "player"
    figures = [mark.figure for mark in lens(view.shell.session).marks]
    assert len(figures) == len(set(figures)) > 0
    assert inked(hands.surface, view.board.area, player) > before


def test_the_foot_names_a_keyboard_that_is_told_something_and_is_not_there(window: Opens) -> None:
    hands = window((1280, 800))
    view = practise(hands, hymn(), demo=False)
    source = view.shell.source
    assert isinstance(source, LettersOnly)
    source.lost, source.amiss = "Great", "there is no keyboard 'Pedals' to play the bass"
    said = status_words(view.shell, "")
    assert said.startswith("listening to Great, but there is no keyboard 'Pedals' to play the bass")
    source.amiss = ""
    assert status_words(view.shell, "").startswith("listening to Great ·")


def test_keys_struck_by_hand_are_written_at_once_and_stay(window: Opens) -> None:
    hands = window((1280, 800), somebody(supply=("bass", "melody")))
    view = practise(hands, hymn(), demo=False, tempo=None)
    hands.settle()
    hands.press(pygame.K_RETURN)
    moment = view.shell.session.moment
    assert moment.melody is not None and str(moment.melody) == "d5"
    player = hands.window.room.type.theme.player
    before = inked(hands.surface, view.board.area, player)
    chord(view, hands, 67, 71)
    assert view.shell.session.current == 1
    assert inked(hands.surface, view.board.area, player) > before + 20
    hands.picture("play-by-hand")


def test_the_letters_of_the_typing_keyboard_are_keys(window: Opens) -> None:
    hands = window((1280, 800), somebody(supply=("bass", "melody")))
    view = practise(hands, hymn(), demo=False, tempo=None)
    hands.settle()
    hands.press(pygame.K_RETURN)
    for kind in (pygame.KEYDOWN, pygame.KEYUP):
        for code, key in ((pygame.KSCAN_T, pygame.K_t), (pygame.KSCAN_U, pygame.K_u)):
            details = {"key": key, "unicode": "", "scancode": code, "mod": 0}
            pygame.event.post(pygame.event.Event(kind, details))
        hands.frame(40)
    assert ("on", 67) in hands.output.keys and ("off", 67) in hands.output.keys
    assert view.shell.session.current == 1


def test_a_click_on_the_strip_sounds_a_key_until_it_is_let_go(window: Opens) -> None:
    hands = window((1280, 800))
    view = practise(hands, hymn(), demo=False)
    hands.settle()
    assert view.strip is not None
    hands.click(view.strip.key_rect(60).midbottom)
    hands.click(tuple(p - 3 for p in view.strip.key_rect(60).bottomright))  # type: ignore[arg-type]
    assert hands.output.keys[-2:] == [("on", 60), ("off", 60)]


def test_pulling_the_keyboard_out_pauses_and_says_so(window: Opens) -> None:
    hands = window((1280, 800))
    view = practise(hands, hymn(), demo=False)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.frame(10)
    view.shell.send(PortLost(hands.now, "grand keyboard"))
    hands.frame(2)
    assert view.shell.session.stage == "paused"
    assert "grand keyboard is gone" in view.text
    hands.picture("play-unplugged")
    view.shell.send(PortFound(hands.now, "grand keyboard"))
    hands.frame(2)
    assert view.shell.session.stage == "playing"


def test_the_window_can_be_resized_while_playing(window: Opens) -> None:
    hands = window((1280, 800))
    view = practise(hands, evening(), manner=PERFECT)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: view.shell.session.current == 4)
    written = len(view.inked.notes())
    hands.resize(1600, 1000)
    hands.settle()
    assert view.shell.session.stage == "playing"
    assert len(view.inked.notes()) >= written > 1
    assert view.board.area.right <= 1600
    hands.picture("play-resized")


@pytest.mark.parametrize("size", SIZES[:2])
def test_pages_are_turned_ahead_of_the_player(window: Opens, size: tuple[int, int]) -> None:
    hands = window(size)
    exercise = eight_pages()
    view = practise(hands, exercise, manner=PERFECT, tempo=300)
    hands.settle(40)
    board = view.board
    assert len(board.systems) / board.places >= 4
    for moment in range(len(exercise.moments) - 1):
        seen = board.in_sight(moment)
        assert board.system_of(moment) in seen
        assert board.places == 1 or board.system_of(moment + 1) in seen
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: view.shell.session.current == 24)
    hands.picture("play-long")


@pytest.mark.parametrize("exercise", [seven_flats(), extremes()], ids=["flats", "extremes"])
def test_hard_pages_are_drawn_with_the_players_notes(window: Opens, exercise: Exercise) -> None:
    from dataclasses import replace

    from tests.engraving.marks_demo import pitches, verdict_of

    middles = {
        "Seven flats": ["cb5 gb4", "bb4 fb4", "eb5 bbb4", "cb5 abb4", "fb4 cb4", "eb4 gb3"],
        "High and low": ["c6 b5", "f4 e4", "g3 f3", "f3 e3", "c5 b4", "c5 b4", "c5 a4"],
    }[exercise.title]
    hands = window((1920, 1080))
    view = practise(hands, replace(exercise, alto=(), tenor=()), demo=False)
    hands.settle()
    verdict = verdict_of(exercise, middles, [])
    view.inked.replace(verdict.moments, ())
    hands.frame(2)
    assert len(view.inked.notes()) == len(middles)
    assert pitches("c4")[0].midi == 60
    hands.picture(f"hard-{exercise.title.lower().replace(' ', '-')}")


def test_dark_paper_and_large_text(window: Opens) -> None:
    hands = window((1920, 1080), somebody(ground="dark", text_scale=2.0))
    view = practise(hands, evening(), slips=[Slip("fifths", 5)], manner=PERFECT)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: view.shell.session.current == 6)
    hands.picture("play-dark-large")
    theme = hands.window.room.type.theme
    assert hands.surface.get_at((3, 3))[:3] == theme.paper
    assert inked(hands.surface, view.board.area, theme.ink) > 800
    play_to_the_end(hands, view)
    hands.picture("after-dark-large")


@pytest.mark.parametrize("scale", [0.8, 2.0])
def test_a_system_fits_the_smallest_window_at_any_text_size(window: Opens, scale: float) -> None:
    hands = window(SIZES[0], somebody(text_scale=scale))
    view = practise(hands, evening(), demo=False)
    hands.settle()
    assert max(g.height for g in view.board.systems) <= view.board.area.height
    hands.picture(f"play-small-{scale}")


@pytest.mark.parametrize("scale", [0.8, 1.0, 2.0])
def test_the_lens_is_never_too_small_to_be_read(window: Opens, scale: float) -> None:
    """Before a pass it is there; while it is counted in the count may need its room."""
    hands = window(SIZES[0], somebody(text_scale=scale))
    view = practise(hands, evening(), demo=False, tempo=30)

    def figures() -> list[int]:
        keys = [item.key for item in hands.window.forme.items if isinstance(item.key, tuple)]
        return [key[-1] for key in keys if key[0] == "lens"]

    hands.settle()
    em = hands.window.forme.em
    assert figures() and min(figures()) > 0.6 * em
    hands.press(pygame.K_SPACE, " ")
    hands.frame(5)
    seconds = view.shell.session.seconds(view.shell.clock.now())
    assert seconds is not None and seconds < 0
    assert all(height > 0.6 * em for height in figures())


def test_what_the_keys_do_before_and_during_a_pass_can_be_clicked(window: Opens) -> None:
    hands = window()
    view = practise(hands, evening(), demo=False)
    hands.settle()

    def click(words: str) -> None:
        rects = [
            i.rect
            for i in hands.window.forme.items
            if isinstance(i.key, tuple) and i.key[0] == words
        ]
        hands.click(rects[-1].center)
        hands.frame(2)

    tempo = view.shell.setup.conditions.tempo
    click("faster")
    assert tempo is not None and view.shell.setup.conditions.tempo == tempo + 2
    click("without a clock")
    assert view.shell.setup.conditions.tempo is None
    click("begin")
    assert view.shell.session.stage == "playing"
    click("pause")
    assert view.shell.session.stage == "paused"
