"""After the pass: from fault to fault, what can be heard, and what comes next."""

from __future__ import annotations

from random import Random

import pygame
import pytest

from tests.faults.live_and_final import by_chance
from tests.screen.conftest import Opens
from tests.screen.hands import SIZES, Hands, practise
from tests.screen.pieces import evening
from tests.screen.test_play import inked
from trainer.conducting.sources import DemoSource
from trainer.practice.demo import PERFECT
from trainer.practice.slips import Slip
from trainer.score.library import Library
from trainer.screen.parts.pass_words import counted, figures_in_words
from trainer.screen.sheet.board import Written
from trainer.screen.views.after import AfterView
from trainer.screen.views.play import PlayView
from trainer.sound.track import Track
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing


def played_through(hands: Hands, view: PlayView) -> AfterView:
    """Begin what stands ready, and wait for its marked page."""
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: hands.window.room.view is not view)
    hands.settle()
    after = hands.window.room.view
    assert isinstance(after, AfterView)
    return after


@pytest.fixture
def played(window: Opens) -> tuple[Hands, PlayView, AfterView]:
    """A pass with a foreign note and with consecutive fifths."""
    hands = window((1920, 1080))
    slips = [Slip("wrong", 2), Slip("fifths", 5)]
    view = practise(hands, evening(), slips=slips, manner=PERFECT, tempo=200)
    after = played_through(hands, view)
    return hands, view, after


def heard(hands: Hands) -> Track:
    track = hands.output.tracks[-1]
    assert isinstance(track, Track)
    return track


def test_one_steps_from_cause_to_cause_and_round(
    played: tuple[Hands, PlayView, AfterView],
) -> None:
    hands, _, after = played
    found = after.verdict.told
    count = len(found)
    assert 2 <= count < len(after.verdict.faults)
    seen = []
    for _ in range(count):
        assert after.point is not None and after.fault in after.verdict.faults
        seen.append(after.point.text)
        hands.press(pygame.K_RIGHT)
    assert all(text.startswith(why.text) for text, why in zip(seen, found, strict=True))
    hands.press(pygame.K_LEFT)
    assert after.chosen == count - 1


def test_on_the_page_a_cause_has_one_mark_once_the_pass_is_over(
    played: tuple[Hands, PlayView, AfterView],
) -> None:
    """What follows from a wrong chord is said in words."""
    _, view, after = played
    told = [after.verdict.weightiest(cause) for cause in after.verdict.told]
    assert len(told) < len(after.verdict.faults)
    assert [(one.rule, one.moments, one.voices) for one in view.inked.faults] == [
        (one.rule, one.moments, one.voices) for one in told
    ]
    assert 0 < len(view.inked.marks()) <= len(told)


@pytest.mark.parametrize("size", [(1024, 640), (1920, 1080)])
def test_the_commentary_is_read_paragraph_by_paragraph(
    window: Opens, size: tuple[int, int]
) -> None:
    """A piece with something to notice in every phrase; notes are named in its own key."""
    hands = window(size)
    view = practise(hands, Library().find("bellows@A"), manner=PERFECT, tempo=300)
    after = played_through(hands, view)
    assert len(after.remarks) >= 4 and "c sharp" in after.remarks[2]
    for number in range(len(after.remarks)):
        hands.press(pygame.K_c, "c")
        assert after.remark == number
        hands.picture(f"commentary-{number}")
    hands.press(pygame.K_c, "c")
    assert after.remark is None


def test_the_sentence_says_what_would_have_been_right(
    played: tuple[Hands, PlayView, AfterView],
) -> None:
    _, _, after = played
    foreign = next(f for f in after.verdict.faults if f.rule == "foreign-note")
    assert foreign.instead is not None
    assert "From your hand" in foreign.text


def test_mine_is_heard_as_it_was_played(played: tuple[Hands, PlayView, AfterView]) -> None:
    hands, view, after = played
    fault = after.fault
    assert fault is not None
    hands.press(pygame.K_m, "m")
    session = view.shell.session
    verdicts = {v.index: v for v in after.verdict.moments}
    keys = {note.key for note in heard(hands).notes}
    assert set(verdicts[fault.moments[-1]].keys) <= keys
    assert session.task.line is not None


def test_the_fault_alone_is_only_its_own_notes(
    played: tuple[Hands, PlayView, AfterView],
) -> None:
    hands, _, after = played
    while after.fault is None or after.fault.rule != "consecutive-fifths":
        hands.press(pygame.K_RIGHT)
    hands.press(pygame.K_f, "f")
    notes = heard(hands).notes
    assert sorted(n.key for n in notes) == sorted(p.midi for p in after.fault.pitches)
    first = sorted(n.key for n in notes if n.start == 0)
    assert (first[1] - first[0]) % 12 == 7


def test_the_suggestion_begins_from_the_players_hands_and_is_pencilled_where_it_differs(
    played: tuple[Hands, PlayView, AfterView],
) -> None:
    hands, _, after = played
    while after.fault is None or after.fault.rule != "consecutive-fifths":
        hands.press(pygame.K_RIGHT)
    hands.settle()
    suggestion = after.ways.of(after.fault)
    assert suggestion is not None
    before = after.fault.moments[0]
    mine = {v.index: v.voicing for v in after.verdict.moments}
    assert suggestion.voicings[before] == mine[before]
    assert suggestion.voicings[after.fault.moments[-1]] != mine[after.fault.moments[-1]]
    hands.press(pygame.K_s, "s")
    keys = {note.key for note in heard(hands).notes if note.start == 0}
    hand = mine[before]
    assert hand is not None
    assert keys == {p.midi for p in hand if isinstance(p, Pitch)}
    hands.press(pygame.K_p, "p")
    hands.frame(2)
    assert after.pencil


def test_again_slower_and_leaving(played: tuple[Hands, PlayView, AfterView]) -> None:
    hands, view, _ = played
    hands.press(pygame.K_MINUS, "-")
    assert hands.window.room.view is view
    assert view.shell.setup.conditions.tempo == 176
    assert view.shell.session.stage == "ready"
    assert not view.inked.verdicts
    hands.press(pygame.K_ESCAPE)
    assert hands.window.room.leaving


def test_a_click_on_a_note_chooses_its_fault(played: tuple[Hands, PlayView, AfterView]) -> None:
    hands, view, after = played
    last = len(after.verdict.faults) - 1
    moment = after.verdict.faults[last].moments[-1]
    spot = view.board.spot(moment, None)
    assert spot is not None
    x, top, geometry = spot
    hands.click((round(x + geometry.space), round(top + geometry.height / 2)))
    assert after.fault is not None and moment in after.fault.moments


def test_the_three_figures_are_said_in_words(played: tuple[Hands, PlayView, AfterView]) -> None:
    _, _, after = played
    (_, harmony, _), (_, time, _), (_, movement, _) = figures_in_words(after.verdict)
    count = after.verdict.harmony
    assert harmony == f"{count.complete} of {count.judged} moments complete"
    assert time == "on the beat, ± 0"
    assert "fault" in movement
    assert counted(1, "fault", "faults") == "one fault"
    assert counted(12, "fault", "faults") == "12 faults"


@pytest.mark.parametrize("size", SIZES)
def test_chords_out_of_time_and_skipped_ones_are_drawn_and_stepped_through(
    window: Opens, size: tuple[int, int]
) -> None:
    hands = window(size)
    slips = [Slip("late", 2), Slip("skipped", 5)]
    view = practise(hands, evening(), slips=slips, manner=PERFECT, tempo=120)
    after = played_through(hands, view)
    kinds = {point.kind: point for point in after.points}
    assert kinds["late"].moments == (2,) and kinds["skipped"].moments == (5,)
    theme = hands.window.room.type.theme
    for kind, colour in (("late", theme.remark), ("skipped", theme.mark)):
        while after.point is None or after.point.kind != kind:
            hands.press(pygame.K_RIGHT)
        spot = view.board.spot(kinds[kind].moments[0], None)
        assert spot is not None
        x, top, geometry = spot
        space, system = geometry.space, geometry.systems[0]
        upper, lower = (0.0, system.treble) if kind == "late" else (system.treble, system.bass)
        column = pygame.Rect(
            round(x - space), round(top + upper), round(5 * space), round(lower - upper)
        )
        assert inked(hands.surface, column, colour) > 2 * space
        assert any(kinds[kind].text in str(item.key) for item in hands.window.forme.items)
    hands.picture("after-time")


def test_what_was_heard_anew_is_said_on_the_page_with_its_places(window: Opens) -> None:
    """A pass whose voices the whole divides otherwise than chord by chord, found by trying."""
    hands = window((1280, 800))
    view = practise(hands, evening(), demo=True, manner=PERFECT, tempo=200)
    source = view.shell.source
    assert isinstance(source, DemoSource)
    said = 0
    for voicings in crossing_ways():
        source._voicings, source._slips = voicings, ()
        after = played_through(hands, view)
        session = view.shell.session
        shown = [str(item.key) for item in hands.window.forme.items]
        told = [words for words in shown if "Heard as a whole" in words]
        assert bool(told) == bool(session.anew)
        if session.anew:
            said += 1
            assert after.points[-1].kind == "anew" and after.points[-1].moments == session.anew
            hands.press(pygame.K_LEFT)
            assert after.point is not None and after.point.kind == "anew"
            hands.picture("after-heard-anew")
        hands.press(pygame.K_SPACE, " ")
    assert said > 0


def crossing_ways() -> list[tuple[Voicing, ...]]:
    """Realizations without regard to rules: the more faults, the more ways to hear them."""
    chance = Random(3)
    return [tuple(by_chance(evening(), chance)) for _ in range(6)]


def test_what_awaits_its_resolution_is_in_pencil_until_the_next_chord(window: Opens) -> None:
    hands = window((1920, 1080))
    view = practise(hands, evening(), manner=PERFECT, tempo=60)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    seen = set()
    while hands.window.room.view is view:
        hands.frame()
        session = view.shell.session
        if session.stage == "playing":
            drawn = in_pencil(hands)
            assert bool(drawn) == bool(session.pending)
            assert all(drawn)
            seen.add(bool(drawn))
    assert seen == {False, True}
    hands.settle()
    assert in_pencil(hands) == []


def in_pencil(hands: Hands) -> list[int]:
    """Of everything in pencil on the page, how many pixels have its colour."""
    pencil = hands.window.room.type.theme.pencil
    written = [
        item.rect
        for item in hands.window.forme.items
        if isinstance(item.key, tuple)
        and isinstance(item.key[-1], Written)
        and any(drawing.ink == "pencil" for drawing in item.key[-1].drawings)
    ]
    parts = [hands.surface.subsurface(rect) for rect in written]
    return [pygame.mask.from_threshold(p, pencil, (25, 25, 25, 255)).count() for p in parts]
