"""A trace of a whole pass: no frame engraves, solves or touches the disk."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pygame
import pytest

from tests.screen.conftest import Opens
from tests.screen.hands import practise
from tests.screen.pieces import evening
from trainer.practice.demo import PERFECT
from trainer.practice.slips import Slip
from trainer.screen.views.after import AfterView
from trainer.theory import realize

WATCHED = ("open", "sqlite3.connect", "import", "os.listdir", "socket.connect")


class Trace:
    """What the interpreter's own audit events say of this thread while `on`."""

    def __init__(self) -> None:
        self.on = False
        self.seen: list[str] = []
        self._main = threading.get_ident()

    def hear(self, event: str, details: tuple[object, ...]) -> None:
        if self.on and event in WATCHED and threading.get_ident() == self._main:
            self.seen.append(f"{event} {details[0] if details else ''}")


@pytest.fixture(scope="module")
def trace() -> Iterator[Trace]:
    found = Trace()
    sys.addaudithook(found.hear)  # cannot be taken away again, only silenced
    yield found
    found.on = False


def test_the_trace_sees_a_file_being_opened(trace: Trace) -> None:
    trace.seen, trace.on = [], True
    Path(__file__).read_bytes()
    trace.on = False
    assert any(__file__ in seen for seen in trace.seen)


def test_no_frame_of_a_pass_opens_reads_or_imports_anything(window: Opens, trace: Trace) -> None:
    hands = window((1920, 1080))
    view = practise(hands, evening(), slips=[Slip("wrong", 3), Slip("fifths", 5)], manner=PERFECT)
    hands.settle()
    trace.seen, trace.on = [], True
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: hands.window.room.view is not view)
    hands.frame(3)
    trace.on = False
    assert trace.seen == []


def test_engraving_and_solving_never_run_in_the_windows_thread(
    window: Opens, monkeypatch: pytest.MonkeyPatch
) -> None:
    main = threading.get_ident()
    solved: list[int] = []
    plain = realize.Solver.__init__

    def watched(self: realize.Solver, *args: object, **named: object) -> None:
        solved.append(threading.get_ident())
        plain(self, *args, **named)  # type: ignore[arg-type]

    hands = window((1920, 1080))
    view = practise(hands, evening(), slips=[Slip("fifths", 5)], manner=PERFECT)
    monkeypatch.setattr(realize.Solver, "__init__", watched)

    def refused(*args: object, **named: object) -> None:
        raise AssertionError("engraved in the window's own process")

    monkeypatch.setattr("trainer.engraving.page.engrave_systems", refused)
    monkeypatch.setattr("trainer.screen.sheet.engraver.picture", refused)
    hands.settle()
    assert view.board.complete
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: isinstance(hands.window.room.view, AfterView))
    hands.settle()
    assert solved and main not in solved


def test_a_dead_engraver_is_started_again(window: Opens) -> None:
    hands = window()
    view = practise(hands, evening(), demo=False)
    hands.settle()
    process = hands.window.room.engraver._process
    assert process is not None
    process.kill()
    assert process.wait()
    hands.frame(2)
    hands.resize(1500, 900)
    hands.until(lambda: view.board.complete, 20)
    assert not view.board.trouble
