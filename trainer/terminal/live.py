"""The terminal view: a pass as lines of text, with or without a terminal under it.

On a terminal the moment asked for stays in one line that is kept up to date, and the two rows of
letters are keys (`trainer.listening.typing`). Elsewhere (a pipe, a log) every moment judged is a
line, and passes begin by themselves.
"""

from __future__ import annotations

import os
import select
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass

from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from trainer.conducting.shell import Shell, play_through
from trainer.conducting.sources import HandsSource
from trainer.conducting.way_out import Leave, WayOut
from trainer.judging.passes import mended
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import Onward
from trainer.listening.typing import Latched
from trainer.practice.effects import (
    Begin,
    BegunAgain,
    Effect,
    Hold,
    MomentJudged,
    PassBegan,
    PassEnded,
    Paused,
    Resumed,
    Say,
    TakenBack,
)
from trainer.terminal.words import (
    given_words,
    moment_words,
    place_words,
    sounding_words,
    summary_lines,
)

FRAME = 0.02  # seconds
JUDGED_WITHIN = 0.6  # seconds that a pass broken off may be judged
WAYS_WITHIN = 0.3  # seconds that ways out of the faults of a pass are sought
END_OF_INPUT = "\x04"  # ctrl-d
HELP = "space: begin, pause · enter: go on · escape: end the pass · ctrl-c: leave"


def run(shell: Shell, way: WayOut, console: Console, *, letters_are_keys: bool = False) -> None:
    """Show the passes of a shell until they are over, or `way` leads out.

    With a terminal on both ends the player begins each pass; otherwise it begins by itself.
    """
    _title(shell, console)
    if console.is_terminal and sys.stdin.isatty() and shell.source.name != "demo":
        _interactive(shell, way, console, _letters(way, console), letters_are_keys)
    else:
        play_through(shell, lambda effect: _print(shell, console, effect), way.look)


def _title(shell: Shell, console: Console) -> None:
    exercise, conditions = shell.setup.exercise, shell.setup.conditions
    pace = "untimed" if conditions.tempo is None else f"{conditions.tempo:g} beats a minute"
    supply = f" · the program plays {' and '.join(conditions.supply)}" if conditions.supply else ""
    console.print(Text(exercise.title, style="bold"))
    console.print(
        f"{exercise.key.in_words} · {exercise.metre} · {pace} · input: {shell.source.name}{supply}",
        highlight=False,
    )
    if shell.output.about:
        console.print(shell.output.about, highlight=False)


def _print(shell: Shell, console: Console, effect: Effect) -> None:
    exercise = shell.setup.exercise
    match effect:
        case PassBegan():
            console.print("count-in" if shell.setup.conditions.tempo else "untimed: play")
        case MomentJudged(verdict, faults):
            moment = exercise.moments[verdict.index]
            console.print(
                f"{given_words(moment):<34} {moment_words(exercise, verdict)}", highlight=False
            )
            for fault in faults:
                console.print(f"    {fault.text}", highlight=False)
        case Paused() | Resumed() | BegunAgain() | TakenBack() | Say():
            console.print(effect.text, highlight=False)
        case PassEnded(_, verdict, finished):
            console.print("" if finished else "ended before its end")
            for line in _summary(shell, verdict):
                console.print(line, highlight=False)


def _summary(shell: Shell, verdict: PassVerdict) -> Iterator[str]:
    return summary_lines(shell.session.exercise, verdict, shell.session.take.begun_again)


# ---- on a terminal ----------------------------------------------------------------------------


@dataclass
class _Letters:
    """Characters typed, without waiting for the end of a line."""

    fileno: int
    way: WayOut

    def typed(self) -> str:
        """What was typed since the last time. Leaves where the terminal is gone."""
        text = ""
        while select.select([self.fileno], [], [], 0)[0]:
            try:
                data = os.read(self.fileno, 64)
            except OSError:
                self.way.terminal_is_gone()
            if not data:
                self.way.terminal_is_gone()
            text += data.decode("utf-8", "ignore")
        return text


def _letters(way: WayOut, console: Console) -> _Letters:
    """The letters as they are typed; at the end the terminal is as it was."""
    import termios
    import tty

    fileno = sys.stdin.fileno()
    before = termios.tcgetattr(fileno)

    def restore() -> None:
        with suppress(termios.error, OSError):  # there may be none any more
            termios.tcsetattr(fileno, termios.TCSAFLUSH, before)
            console.show_cursor(True)

    way.at_the_end("the terminal", restore)
    tty.setcbreak(fileno)
    mode = termios.tcgetattr(fileno)
    mode[3] |= termios.NOFLSH  # what was typed before ctrl-c was played
    termios.tcsetattr(fileno, termios.TCSANOW, mode)
    return _Letters(fileno, way)


def _interactive(
    shell: Shell, way: WayOut, console: Console, letters: _Letters, keys: bool
) -> None:
    console.print(HELP, style="dim", highlight=False)
    shell.seek_ways_later()
    latched = Latched()
    while True:
        with Live(console=console, refresh_per_second=20, transient=True) as live:
            while shell.session.stage != "ended":
                for character in letters.typed():
                    latched = _act(shell, character, latched, keys)
                for effect in shell.step():
                    if not isinstance(effect, PassEnded):
                        _print(shell, live.console, effect)
                way.look()  # what was typed before a signal is played
                live.update(_now(shell))
                shell.clock.sleep(FRAME)
        verdict = shell.session.verdict
        if verdict is not None:
            verdict = mended(shell.session.judge, verdict, _after(WAYS_WITHIN))
            for line in _summary(shell, verdict):
                console.print(line, highlight=False)
        if not shell.more_to_come():
            return
        shell.again()


def _after(seconds: float) -> Callable[[], bool]:
    """Whether so much time has gone by from now on."""
    until = time.monotonic() + seconds
    return lambda: time.monotonic() > until


def _act(shell: Shell, character: str, latched: Latched, keys: bool) -> Latched:
    now = shell.clock.now()
    if character == " ":
        playing = shell.session.stage == "playing"
        shell.send(Hold() if playing else Begin())
    elif character in "\r\n":
        shell.send(Onward(now))
    elif character == "\x1b":
        shell.stop(JUDGED_WITHIN)
    elif character == END_OF_INPUT:
        raise Leave
    elif keys and isinstance(shell.source, HandsSource):
        latched, events = latched.typed(character, now)
        for event in events:
            shell.source.put(event)
    return latched


def _now(shell: Shell) -> Table:
    session, now = shell.session, shell.clock.now()
    table = Table.grid(padding=(0, 2))
    moment = session.moment
    if session.stage == "ready":
        table.add_row("space to begin", given_words(moment))
        return table
    if session.stage == "paused":
        table.add_row("paused", session.text)
        return table
    beat = session.beat(now)
    hand = "" if beat is None else "↓" if beat % 1 < 0.5 else "↑"
    count = "" if beat is None else f"{int(beat)}{hand}"
    table.add_row(count, place_words(moment), given_words(moment), sounding_words(session))
    return table
