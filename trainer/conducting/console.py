"""What the window plays with: keyboard, sound and log, opened once and shared by its views."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from trainer.conducting.setup import Setup
from trainer.conducting.shell import Shell
from trainer.conducting.sources import HandsSource, Source
from trainer.judging.take import Part
from trainer.listening.assigning import assignments
from trainer.listening.events import KeyEvent
from trainer.score.exercise import Exercise

if TYPE_CHECKING:
    from trainer.journal.writer import Writer
    from trainer.settings import Player, Settings
    from trainer.sound.output import Output

SETTLES = 0.5  # seconds at most that a first piece waits for keyboards to be found


@dataclass
class Console:
    """Makes shells that share a source, an output and a log."""

    source: Source
    output: Output
    writer: Writer | None
    shell: Shell | None = None
    log: str = ""  # where the log is, for reading it

    def at_once(self, event: KeyEvent) -> None:
        """Sound a key in the thread it arrives in."""
        shell = self.shell
        if shell is not None:
            shell.sound_now(event)

    def practise(self, settings: Settings, exercise: Exercise, tempo: float | None) -> Shell:
        """A shell for one exercise under the player's own conditions."""
        if isinstance(self.source, HandsSource):
            self.source.settle(SETTLES)
        conditions = settings.player.conditions(tempo, settings.latency_of(self.source.name))
        supply: Sequence[Part] = conditions.supply
        if self.by_letters:
            supply = ("bass", "melody")  # two rows of letters hold two voices, not four
        if not exercise.melody:
            supply = tuple(part for part in supply if part != "melody")
        setup = Setup(
            exercise, replace(conditions, supply=tuple(supply)), exercise, settings.player.id
        )
        return self.take(Shell(setup, self.source, self.output, self.writer))

    def take(self, shell: Shell) -> Shell:
        """From now on keys sound as this shell has them; the player's time goes on."""
        if self.shell is not None:
            shell.played = shell.played or self.shell.played
        self.shell = shell
        return shell

    @property
    def by_letters(self) -> bool:
        """Whether there is no keyboard but the letters."""
        return isinstance(self.source, HandsSource) and self.source.port is None

    def listen(self, wanted: str) -> None:
        """To other keyboards, as the setting `input` names them."""
        if isinstance(self.source, HandsSource):
            self.source.listen(wanted or None)

    def assign(self, manuals: str) -> None:
        """Other things to be played by the keyboards, as the setting `manuals` says."""
        if isinstance(self.source, HandsSource):
            self.source.assign(assignments(manuals))

    def retune(self, player: Player) -> None:
        """Another tone, tuning, pitch, volume or instrument; what sounds goes on in it."""
        from trainer.conducting.chosen_sound import choice

        self.output.retune(choice(player))

    def leave(self) -> None:
        """At the end of the program: the pass being played is handed to the log."""
        if self.shell is not None:
            self.shell.leave()
