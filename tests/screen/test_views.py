"""Every view of the window, by keys and by mouse, with pictures at three sizes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pygame
import pytest

from tests.journal.samples import EVENTS, TAKE
from tests.journal.test_causes_kept import CAUSED
from tests.screen.conftest import Opens
from tests.screen.hands import SIZES, Hands, LettersOnly, open_app, somebody
from trainer.care import FIRST_WORDS
from trainer.journal.writer import Writer
from trainer.judging.lessons import LESSONS
from trainer.screen.views.after import AfterView
from trainer.screen.views.choices import ChoicesView
from trainer.screen.views.first import FirstView
from trainer.screen.views.front import FrontView
from trainer.screen.views.play import PlayView
from trainer.screen.views.record import PAGES, RecordView
from trainer.screen.views.shelf import ShelfView
from trainer.screen.views.tap import TapView
from trainer.screen.views.today import TodayView
from trainer.settings import Player, Settings
from trainer.theory.rules import rule


def words(hands: Hands) -> str:
    """All text of the view as it is set now."""
    keys = [item.key for item in hands.window.forme.items]
    return " | ".join(k[0] for k in keys if isinstance(k, tuple) and isinstance(k[0], str))


def test_the_doors_of_the_first_page_open_by_letter_by_arrow_and_by_mouse(window: Opens) -> None:
    hands = window()
    open_app(hands)
    opens = {pygame.K_l: ShelfView, pygame.K_s: ChoicesView, pygame.K_t: TodayView}
    for key, kind in opens.items():
        hands.press(key, chr(key))
        assert isinstance(hands.window.room.view, kind)
        hands.settle()
        hands.press(pygame.K_ESCAPE)
        assert isinstance(hands.window.room.view, FrontView)
    hands.press(pygame.K_DOWN)
    hands.press(pygame.K_DOWN)
    hands.press(pygame.K_RETURN)
    assert isinstance(hands.window.room.view, ShelfView)
    hands.press(pygame.K_ESCAPE)
    settings_row = next(
        item.rect
        for item in hands.window.forme.items
        if item.key[0] == "Settings"  # type: ignore[index]
    )
    hands.click(settings_row.center)
    hands.click(settings_row.center)
    assert isinstance(hands.window.room.view, ChoicesView)


def test_the_first_start_asks_three_questions_and_leads_to_the_first_exercise(
    window: Opens,
) -> None:
    player = Player("Ada", "a" * 32)
    hands = window(settings=Settings("Ada", (player,)))
    open_app(hands)
    view = hands.window.room.view
    assert isinstance(view, FirstView)
    assert all(word in words(hands) for word in FIRST_WORDS.split()[:12])
    hands.press(pygame.K_RIGHT)  # triads and sixths are familiar
    hands.press(pygame.K_DOWN)
    hands.press(pygame.K_RIGHT)  # two voices in each hand
    hands.press(pygame.K_RETURN)
    hands.press(pygame.K_LEFT)  # the program plays bass and melody
    hands.press(pygame.K_RETURN)
    hands.settle()
    assert isinstance(hands.window.room.view, PlayView)
    kept = hands.saved[-1].player
    assert (kept.begin_at, kept.hands, kept.supply) == (10, "2+2", ("bass", "melody"))
    assert kept.first_run_seen


@pytest.mark.parametrize("size", SIZES)
def test_all_views_at_every_size(window: Opens, size: tuple[int, int], tmp_path: Path) -> None:
    hands = window(size)
    open_app(hands, log=str(practised(tmp_path)))
    room = hands.window.room
    hands.settle()
    hands.picture("front")
    hands.press(pygame.K_l, "l")
    hands.settle()
    hands.picture("library")
    hands.press(pygame.K_ESCAPE)
    hands.press(pygame.K_s, "s")
    hands.settle()
    hands.picture("settings")
    hands.press(pygame.K_ESCAPE)
    hands.press(pygame.K_t, "t")
    hands.settle()
    hands.picture("plan")
    hands.press(pygame.K_ESCAPE)
    hands.press(pygame.K_o, "o")
    hands.settle()
    for page in ("minutes", "tempo", "figurings", "faults", "takes"):
        hands.picture(f"log-{page}")
        hands.press(pygame.K_RIGHT)
    hands.press(pygame.K_ESCAPE)
    hands.press(pygame.K_QUESTION, "?")
    hands.picture("keys")
    assert "this page; any key closes it" in words(hands)
    hands.press(pygame.K_x, "x")
    room.open(FirstView(room, room.back))
    hands.frame(2)
    hands.picture("first")
    room.back()
    room.open(TapView(room, hands.app.desk if hands.app else None))  # type: ignore[arg-type]
    hands.frame(2)
    hands.picture("calibrate")


def practised(folder: Path) -> Path:
    """A log with three weeks of the demo player's passes in it."""
    from dataclasses import replace

    from trainer.conducting.setup import Setup
    from trainer.conducting.shell import QuickClock, Shell, play_through
    from trainer.conducting.sources import DemoSource, usual
    from trainer.journal.writer import Writer
    from trainer.judging.take import Take
    from trainer.practice.effects import PassEnded
    from trainer.practice.slips import Slip
    from trainer.score.library import Library
    from trainer.sound.output import Silence

    path = folder / "log.sqlite"
    writer = Writer(str(path))
    writer.player("a" * 32, "Ada")
    library = Library()
    begins = datetime.now(UTC) - timedelta(days=20)
    names = ("first-evening", "sextons-cat", "tower-clock")
    for day in range(0, 21, 2):
        exercise = library.find(names[day % 3])
        tempo = 50.0 + 2 * day
        settings = somebody()
        setup = Setup(exercise, settings.player.conditions(tempo), exercise, "a" * 32)
        slips = [Slip("wrong", 2)] if day % 4 else []
        ended: list[Take] = []

        def keep(effect: object, ended: list[Take] = ended, day: int = day) -> None:
            if isinstance(effect, PassEnded):
                take = replace(effect.take, started=begins + timedelta(days=day))
                ended.append(take)
                name = writer.begin(replace(take, events=()))
                writer.events(name, take.events)
                writer.end(name, take, effect.verdict, True)

        source = DemoSource(setup, lambda event: None, day=usual(slips=slips), seed=day)
        play_through(Shell(setup, source, Silence(), None, QuickClock()), keep)
        assert ended
    writer.close()
    return path


def test_a_piece_is_found_by_typing_and_opened(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_l, "l")
    hands.settle()
    shelf = hands.window.room.view
    assert isinstance(shelf, ShelfView)
    many = shelf.rows.count
    hands.write("sexton d minor")
    hands.settle()
    assert 0 < shelf.rows.count < many
    assert shelf.chosen is not None and shelf.chosen.key == "d minor"
    hands.press(pygame.K_BACKSPACE, mod=pygame.KMOD_CTRL)
    assert shelf.field.text == "sexton d"
    hands.press(pygame.K_ESCAPE)
    hands.settle()
    assert shelf.rows.count == many
    hands.write("window river")
    hands.settle()
    hands.press(pygame.K_RETURN)
    hands.settle()
    play = hands.window.room.view
    assert isinstance(play, PlayView)
    assert play.shell.setup.exercise.id == "window-to-the-river"


def test_a_drill_is_opened_in_the_key_that_is_chosen(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_l, "l")
    hands.settle()
    hands.write("any rule octave")
    hands.settle()
    hands.press(pygame.K_TAB)
    hands.press(pygame.K_TAB)
    hands.settle()
    hands.press(pygame.K_RETURN)
    hands.settle()
    play = hands.window.room.view
    assert isinstance(play, PlayView)
    assert str(play.shell.setup.exercise.key) == "F major"


def test_nothing_found_says_so(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_l, "l")
    hands.settle()
    hands.write("zzz")
    hands.settle()
    assert "Nothing has all of “zzz”." in words(hands)
    hands.press(pygame.K_RETURN)
    assert isinstance(hands.window.room.view, ShelfView)


def test_a_setting_is_in_force_at_once_and_kept(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_s, "s")
    hands.settle()
    view = hands.window.room.view
    assert isinstance(view, ChoicesView)
    choose(hands, view, "ground")
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.ground == "dark"
    assert hands.surface.get_at((2, 2))[:3] == hands.window.room.type.theme.paper == (30, 28, 26)
    choose(hands, view, "text_scale")
    em = hands.window.room.type.measure.em
    hands.press(pygame.K_RIGHT)
    assert hands.window.room.type.measure.em == pytest.approx(1.1 * em)
    choose(hands, view, "volume")
    hands.press(pygame.K_LEFT)
    assert hands.output.volume == pytest.approx(0.25)
    choose(hands, view, "pitch")
    hands.press(pygame.K_LEFT)
    assert hands.saved[-1].player.pitch == 415


def test_what_is_plugged_in_while_the_settings_are_open_can_be_chosen(window: Opens) -> None:
    hands = window()
    keyboards: list[str] = []
    instruments: list[str] = []
    open_app(hands, ports=lambda: (tuple(keyboards), tuple(instruments)))
    hands.press(pygame.K_s, "s")
    hands.settle()
    view = hands.window.room.view
    assert isinstance(view, ChoicesView)
    choose(hands, view, "input")
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.input == ""
    keyboards.append("grand keyboard")
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.input == "grand keyboard"
    choose(hands, view, "midi_out")
    instruments.append("chamber organ")
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.midi_out == "chamber organ"


def test_what_each_keyboard_plays_is_chosen_on_a_line_of_its_own(window: Opens) -> None:
    hands = window()
    keyboards = ["Great"]
    app = open_app(hands, ports=lambda: (tuple(keyboards), ()))
    hands.press(pygame.K_s, "s")
    hands.settle()
    view = hands.window.room.view
    assert isinstance(view, ChoicesView)
    choose(hands, view, "manuals")
    assert "Great plays" in words(hands) and "everything" in words(hands)
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.manuals == "Great = bass"
    keyboards.append("Swell")
    hands.frame(2)
    assert "Swell plays" in words(hands) and view.chosen == "manuals"
    hands.press(pygame.K_DOWN)
    hands.press(pygame.K_LEFT)
    assert hands.saved[-1].player.manuals == "Great = bass, Swell = right hand"
    assert "| bass |" in words(hands) and "| right hand |" in words(hands)
    source = app.desk.source
    assert isinstance(source, LettersOnly)  # and it is in force at once
    assert list(map(str, source.assigned)) == ["Great = bass", "Swell = right hand"]
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].player.manuals == "Great = bass"
    del keyboards[:]
    hands.frame(2)
    assert "Great plays" not in words(hands) and view.chosen


def choose(hands: Hands, view: ChoicesView, name: str) -> None:
    hands.press(pygame.K_HOME)
    for _ in range(60):
        if view.chosen == name:
            return
        hands.press(pygame.K_DOWN)
    raise AssertionError(f"{name} is not among the settings")


def test_players_are_switched_and_added(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_s, "s")
    hands.settle()
    hands.press(pygame.K_n, "n")
    hands.write("bert")
    hands.press(pygame.K_RETURN)
    assert hands.saved[-1].playing == "bert"
    view = hands.window.room.view
    assert isinstance(view, ChoicesView)
    choose(hands, view, "player")
    hands.press(pygame.K_RIGHT)
    assert hands.saved[-1].playing == "Ada"
    hands.press(pygame.K_ESCAPE)
    assert "playing: Ada" in words(hands)


def test_todays_plan_is_begun_with_one_key_and_goes_on_after_a_pass(window: Opens) -> None:
    hands = window(settings=somebody(supply=("bass", "melody")))
    open_app(hands)
    hands.press(pygame.K_t, "t")
    hands.settle()
    hands.picture("plan-begin")
    hands.press(pygame.K_SPACE, " ")
    hands.settle()
    play = hands.window.room.view
    assert isinstance(play, PlayView) and play.in_plan
    assert play.heading
    hands.press(pygame.K_SPACE, " ")
    hands.frame(3)
    hands.press(pygame.K_ESCAPE)
    hands.frame(3)
    assert isinstance(hands.window.room.view, PlayView | AfterView)


def test_a_take_of_the_log_is_seen_again(window: Opens, tmp_path: Path) -> None:
    hands = window((1920, 1080))
    open_app(hands, log=str(practised(tmp_path)))
    hands.press(pygame.K_o, "o")
    hands.settle()
    record = hands.window.room.view
    assert isinstance(record, RecordView)
    hands.press(pygame.K_5, "5")
    hands.press(pygame.K_RETURN)
    hands.settle()
    after = hands.window.room.view
    assert isinstance(after, AfterView)
    hands.picture("log-take-again")
    assert after.play.inked.notes()
    assert after.play.inked.faults == list(after.verdict.drawn)
    hands.press(pygame.K_m, "m")
    assert hands.output.tracks
    hands.press(pygame.K_ESCAPE)
    assert hands.window.room.view is record


def test_the_log_names_causes_by_their_titles(window: Opens, tmp_path: Path) -> None:
    """A finger beside its key is counted in the log, and has no rule."""
    log = tmp_path / "log.sqlite"
    with Writer(log) as writer:
        take = replace(TAKE, events=EVENTS, player="a" * 32)
        writer.end(writer.begin(take), take, CAUSED)
    hands = window((1920, 1080))
    open_app(hands, log=str(log))
    hands.press(pygame.K_o, "o")
    hands.settle()
    hands.press(pygame.K_1 + PAGES.index("faults"), "")
    hands.frame()
    said = words(hands)
    assert LESSONS["finger-beside"].title in said
    assert rule("consecutive-fifths").title in said


def test_taps_with_the_tactus_are_measured_and_kept(window: Opens) -> None:
    hands = window()
    app = open_app(hands)
    room = hands.window.room
    tap = TapView(room, app.desk, clock=lambda: hands.now)
    room.open(tap)
    hands.frame()
    hands.press(pygame.K_SPACE, " ")
    first = hands.now - 1 / 60 + 1.0
    for beat in range(4, 20):
        due = first + beat * 0.75 + 0.03
        while hands.now < due:
            hands.frame()
        hands.press(pygame.K_SPACE, " ")
    hands.frame(90)
    ((port, seconds),) = hands.saved[-1].latency
    assert port == "typing"
    assert 0.0 < seconds < 0.08


def test_leaving_the_first_page_leaves_the_program(window: Opens) -> None:
    hands = window()
    open_app(hands)
    hands.press(pygame.K_ESCAPE)
    assert hands.window.room.leaving
