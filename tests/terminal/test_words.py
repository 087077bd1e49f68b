"""A pass in words."""

from __future__ import annotations

import io
from dataclasses import replace

from rich.console import Console

from tests.judging.lessons import lesson
from tests.practice.playing import Pass, in_order, keys, play, verdict
from trainer.conducting.setup import Setup
from trainer.conducting.shell import QuickClock, Shell
from trainer.conducting.sources import DemoSource
from trainer.conducting.way_out import WayOut
from trainer.judging.take import Conditions
from trainer.judging.verdict import MomentVerdict
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.lens import Lens, LensMark
from trainer.sound.output import Silence
from trainer.terminal.live import run
from trainer.terminal.words import (
    figures_of_pass,
    given_words,
    lens_words,
    moment_words,
    sounding_words,
    summary_lines,
)

PIECE = lesson("C", "c3 f3 g3 c3", ",,4,", "e4 f4 d4 e4", (3,))
TEMPO = Conditions(tempo=60.0)


def test_a_moment_is_shown_as_melody_bass_and_figures() -> None:
    assert given_words(PIECE.moments[2]) == "melody d4 · bass g3 · 4"
    assert given_words(lesson("C", "c3", "").moments[0]) == "bass c3"


def test_each_state_of_the_lens_has_a_form_of_its_own() -> None:
    shown = Lens(
        "6 5",
        (
            LensMark("6", "sounding"),
            LensMark("4", "foreign"),
            LensMark("7", "addition"),
            LensMark("5", "missing"),
        ),
    )
    assert lens_words(shown) == "6 /4/ +7 (5)"


def test_what_sounds_is_said_as_figures() -> None:
    made = Pass(PIECE, TEMPO)
    for event in keys(made.now, "c3 g3 c4 e4"):
        if isinstance(event, KeyDown):
            made.feed(event)
    assert sounding_words(made.session) == "3 8 5"


def test_a_moment_judged_says_what_was_wrong_and_when() -> None:
    said = MomentVerdict(2, "foreign", missing=("4",), foreign=("3",), late_ms=-12.4, spread_ms=120)
    assert moment_words(PIECE, said) == (
        "bar 1, beat 3: foreign note, missing 4, 3 does not belong, 12 ms early, spread over 120 ms"
    )
    assert moment_words(PIECE, MomentVerdict(0, "complete", think_s=2.34)).endswith("after 2.3 s")


def test_the_three_figures_are_never_one() -> None:
    def half(origin: float) -> list[KeyEvent]:
        return in_order(keys(origin, "c3 g3 c4 e4", 0.9), keys(origin + 1.3, "f3 a3 c4 f4", 0.6))

    said = verdict(play(PIECE, TEMPO, half))
    assert [name for name, _ in figures_of_pass(said)] == ["harmony", "time", "hands", "movement"]
    lines = list(summary_lines(PIECE, said))
    assert "harmony   2 of 4 moments complete" in lines
    assert "not played: bar 1, beat 3" in lines and "not played: bar 1, beat 4" in lines
    assert any(line.startswith("time      1 of 2 in time") for line in lines)


def test_what_there_is_to_notice_is_said_at_the_end() -> None:
    said = verdict(play(PIECE, TEMPO, lambda origin: keys(origin, "c3 g3 c4 e4", 0.9)))
    told = replace(PIECE, commentary=("Hold {c} over {f}.",))
    assert "to notice: Hold c over f." in list(summary_lines(told, said))


def test_the_view_prints_plain_lines_where_there_is_no_terminal() -> None:
    out = io.StringIO()
    setup = Setup(PIECE, TEMPO, PIECE)
    source = DemoSource(setup, lambda _: None)
    shell = Shell(setup, source, Silence("no sound"), None, QuickClock())
    run(shell, WayOut(), Console(file=out, width=100))
    shown = out.getvalue()
    assert "\x1b" not in shown and "count-in" in shown
    assert "melody f4 · bass f3" in shown and "harmony" in shown
