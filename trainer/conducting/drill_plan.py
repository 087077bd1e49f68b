"""Today's drill as a shell goes through it: after each pass it makes ready what comes next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from trainer.conducting.setup import Setup
from trainer.conducting.shell import Clock, Shell
from trainer.conducting.sources import Source
from trainer.conducting.todays_drill import (
    Drill,
    after_words,
    before_words,
    begun_path,
    exercise_for,
    write_begun,
)
from trainer.errors import LogError
from trainer.journal.records import play_seconds
from trainer.journal.writer import Writer
from trainer.judging.take import Part
from trainer.practice.effects import PassEnded
from trainer.practice.material import Material
from trainer.practice.plan import Next
from trainer.practice.result import PassResult, result_of
from trainer.score.library import Library
from trainer.settings import Player
from trainer.sound.output import Output


class DrillPlan:
    """The passes of a drill, one after another, for any view.

    `sources` makes the source of keys for a setup, the same one again or another. `supply` are
    the voices the program plays. `say` is called with lines for the player between passes.
    """

    def __init__(
        self,
        drill: Drill,
        material: Material,
        library: Library,
        player: Player,
        sources: Callable[[Setup], Source],
        say: Callable[[str], None],
        supply: Sequence[Part] | None = None,
    ) -> None:
        self.drill = drill
        self._material = material
        self._library = library
        self._player = player
        self._sources = sources
        self._say = say
        self._supply = player.supply if supply is None else tuple(supply)
        following = drill.following
        assert following is not None
        self._following: Next = following

    def shell(
        self,
        output: Output,
        writer: Writer | None,
        latency: Callable[[str], float],
        clock: Clock | None = None,
    ) -> Shell:
        """A shell that goes through it from here on; the plan has begun."""
        setup, source = self.onward()
        shell = Shell(setup, source, output, writer, clock, latency, self)
        since = ((result.at, result.seconds) for result in self.drill.since)
        for at, seconds in (*self.drill.before.played.recent, *since):
            begun = at.timestamp() - shell.clock.wall() + shell.clock.now()
            shell.played.append((begun, begun + seconds))
        self._keep()
        return shell

    @property
    def more(self) -> bool:
        """Whether anything is left of it."""
        return self.drill.following is not None

    def onward(self) -> tuple[Setup, Source]:
        """Make ready what comes next, or the last one again where nothing does; the keys for it."""
        self._following = self.drill.following or self._following
        setup = self._setup(self._following)
        source = self._sources(setup)
        self._announce(setup)
        return setup, source

    def heading(self) -> str:
        """Why this is played now, in one line."""
        words = before_words(self.drill, self._following)
        ladder = [line for line in words if "beats a minute" in line]
        return (ladder or [*words, self._following.part.title])[0]

    def words_after(self) -> str:
        """What the pass just ended means for it."""
        if not self.drill.since:
            return ""
        return " ".join(after_words(self._following, self.drill.since[-1]))

    def ended(self, ended: PassEnded, setup: Setup) -> None:
        """A pass has ended."""
        take = ended.take
        if not take.events and not ended.finished:  # nothing was played
            return
        result: PassResult = result_of(
            take,
            ended.verdict,
            setup.exercise,
            finished=ended.finished,
            seconds=play_seconds(take.events, take.origin, take.pauses),
        )
        for line in after_words(self._following, result):
            self._say(line)
        self.drill = self.drill.played(result)

    def _setup(self, following: Next) -> Setup:
        exercise = exercise_for(following, self._material, self._library)
        conditions = self._player.conditions(following.tempo)
        if following.ladder is not None:
            conditions = replace(conditions, hands=following.ladder.hands)
        has_melody = any(note.pitch is not None for note in exercise.melody)
        supply = tuple(part for part in self._supply if part == "bass" or has_melody)
        conditions = replace(conditions, supply=supply)
        return Setup(exercise, conditions, exercise, self._player.id)

    def _keep(self) -> None:
        """Write down that the plan has begun; where that cannot be, it is played all the same."""
        try:
            write_begun(begun_path(self._player), self.drill.begun)
        except LogError as error:
            self._say(f"{error}; going on, and the plan may begin anew")

    def _announce(self, setup: Setup) -> None:
        moved = self._following.task.key
        title = f"{setup.exercise.title}, in {moved}" if moved else setup.exercise.title
        for line in (*before_words(self.drill, self._following), title):
            self._say(line)
