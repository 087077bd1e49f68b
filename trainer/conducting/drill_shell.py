"""A shell that goes through today's drill: after each pass it makes ready what comes next."""

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
from trainer.practice.effects import Effect, PassEnded
from trainer.practice.material import Material
from trainer.practice.plan import Next
from trainer.practice.result import PassResult, result_of
from trainer.score.library import Library
from trainer.settings import Player
from trainer.sound.output import Output


class DrillShell(Shell):
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
        output: Output,
        writer: Writer | None,
        say: Callable[[str], None],
        *,
        supply: Sequence[Part] | None = None,
        latency: Callable[[str], float] = lambda port: 0.0,
        clock: Clock | None = None,
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
        self.following: Next = following
        setup = self._setup(following)
        source = sources(setup)
        super().__init__(setup, source, output, writer, clock, latency)
        since = ((result.at, result.seconds) for result in drill.since)
        for at, seconds in (*drill.before.played.recent, *since):
            begun = at.timestamp() - self.clock.wall() + self.clock.now()
            self.played.append((begun, begun + seconds))
        self._keep()
        self._announce(setup)

    def more_to_come(self) -> bool:
        return self.drill.following is not None

    def again(self, setup: Setup | None = None) -> None:
        """Make ready what comes next in the plan, or the setup given."""
        following = self.drill.following
        if setup is None and following is not None:
            self.following = following
            setup = self._setup(following)
            self.source = self._sources(setup)
            self._announce(setup)
        super().again(setup)

    def _do(self, effect: Effect) -> None:
        super()._do(effect)
        if isinstance(effect, PassEnded):
            self._played(effect)

    def _played(self, ended: PassEnded) -> None:
        result = self._result(ended)
        if result is None:
            return
        for line in after_words(self.following, result):
            self._say(line)
        self.drill = self.drill.played(result)

    def _result(self, ended: PassEnded) -> PassResult | None:
        take = ended.take
        if not take.events and not ended.finished:  # nothing was played
            return None
        return result_of(
            take,
            ended.verdict,
            self.setup.exercise,
            finished=ended.finished,
            seconds=play_seconds(take.events, take.origin, take.pauses),
        )

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
        moved = self.following.task.key
        title = f"{setup.exercise.title}, in {moved}" if moved else setup.exercise.title
        for line in (*before_words(self.drill, self.following), title):
            self._say(line)
