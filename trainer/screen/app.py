"""The window as a whole: which view leads to which, and what each is given to work with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from trainer.errors import TrainerError
from trainer.screen.room import Room
from trainer.screen.views.first import FirstView
from trainer.screen.views.front import Door, FrontView

if TYPE_CHECKING:
    from trainer.conducting.console import Console
    from trainer.conducting.sources import Source
    from trainer.conducting.todays_drill import Drill
    from trainer.practice.material import Material
    from trainer.score.exercise import Exercise
    from trainer.score.library import Library
    from trainer.screen.views.record import Record
    from trainer.settings import Settings

Ports = tuple[tuple[str, ...], tuple[str, ...]]
FIRST_EXERCISE = "triads-common-tones"
_OUTPUTS = {"sound", "temperament", "pitch", "volume", "midi_out"}


class App:
    """Opens views in a room; `remember` keeps which exercise was open last."""

    def __init__(
        self,
        room: Room,
        open_desk: Callable[[], Console],
        *,
        last: str = "",
        remember: Callable[[str], None] = lambda name: None,
        ports: Callable[[], Ports] | None = None,
    ) -> None:
        """`open_desk` opens keyboard and sound, once, when they are first needed, so that the
        first page is there at once. `ports` names the MIDI inputs and outputs there are; the
        usual interfaces' if None.
        """
        self.room = room
        self._open_desk = open_desk
        self._last = last
        self._remember = remember
        self._ports = ports
        self._library: Library | None = None
        self._material: Material | None = None

    @cached_property
    def desk(self) -> Console:
        return self._open_desk()

    # ---- leading from view to view ------------------------------------------------------------

    def front(self) -> None:
        """The first page; before it, on a first start, the questions and the first exercise."""
        self.room.open(FrontView(self.room, self.doors))
        if not self.room.settings.player.first_run_seen:
            self.room.open(FirstView(self.room, self._begin_first))

    def doors(self) -> tuple[Door, ...]:
        last = self._last or FIRST_EXERCISE
        player = self.room.settings.player
        return (
            Door("t", "Today’s plan", f"{player.minutes} minutes, begun with one key", self.today),
            Door("g", "Go on", f"with {last}", lambda: self.practise_named(last)),
            Door("l", "Library", "find a piece by typing", self.shelf),
            Door("o", "Log", "what practice has added up to", self.record),
            Door("s", "Settings", f"playing: {player.name}", self.settings),
        )

    def _begin_first(self) -> None:
        self.room.back()
        self.practise_named(FIRST_EXERCISE)

    def practise_named(self, name: str) -> None:
        self.room.errands.ask(lambda: self.library().find(name), self.practise, self._say)

    def practise(self, exercise: Exercise) -> None:
        from trainer.screen.views.play import PlayView

        self._keep_last(exercise.id)
        shell = self.desk.practise(self.room.settings, exercise, exercise.tempo)
        self.room.open(PlayView(self.room, shell))

    def _keep_last(self, name: str) -> None:
        self._last = name
        self._remember(name)

    def _say(self, error: TrainerError) -> None:
        self.room.notice = str(error)

    def shelf(self) -> None:
        from trainer.screen.views.shelf import ShelfView

        self.room.open(ShelfView(self.room, self.library, self.practise))

    def settings(self) -> None:
        from trainer.screen.views.choices import ChoicesView

        ports = self._ports or midi_ports(self.desk.source)
        self.room.open(ChoicesView(self.room, self.applied, ports, self._calibrate))

    def _calibrate(self) -> None:
        from trainer.screen.views.tap import TapView

        self.room.open(TapView(self.room, self.desk))

    def applied(self, settings: Settings, name: str) -> None:
        """Put a changed setting to work where it is not read anew at every frame."""
        from trainer.screen.views.choices import CALIBRATE, PLAYER

        player = settings.player
        if name in _OUTPUTS or name == PLAYER:
            self.desk.retune(player)
        if name in ("input", PLAYER):
            self.desk.listen(player.input)
        if name in ("manuals", PLAYER):
            self.desk.assign(player.manuals)
        if name == PLAYER and self.desk.writer is not None:
            self.desk.writer.player(player.id, player.name)
        assert name != CALIBRATE

    # ---- the plan -----------------------------------------------------------------------------

    def today(self) -> None:
        from trainer.screen.views.today import TodayView

        self.room.open(TodayView(self.room, self._find_plan, self._begin_plan))

    def _find_plan(self) -> Drill:
        from trainer.conducting.todays_drill import beginning, open_drill
        from trainer.practice.material import open_material
        from trainer.review.assignments import set_for_player
        from trainer.review.looking_back import look_back

        self._flush()
        if self._material is None:
            self._material = open_material(self.library())
        player, now = self.room.settings.player, datetime.now().astimezone()
        until = beginning(player, now)
        with self._journal() as journal:
            back = look_back(journal, player.id, self._material, until, player.begin_at)
        return open_drill(
            player, self._material, back.since, now, before=back.before, assigned=set_for_player()
        )

    def _begin_plan(self, drill: Drill) -> None:
        from trainer.conducting.drill_plan import DrillPlan
        from trainer.screen.views.play import PlayView

        assert self._material is not None
        settings = self.room.settings
        plan = DrillPlan(
            drill,
            self._material,
            self.library(),
            settings.player,
            lambda setup: self.desk.source,
            lambda line: None,
            ("bass", "melody") if self.desk.by_letters else None,
        )
        shell = plan.shell(self.desk.output, self.desk.writer, settings.latency_of)
        self.desk.take(shell)
        self.room.instead(PlayView(self.room, shell))

    # ---- the log ------------------------------------------------------------------------------

    def record(self) -> None:
        from trainer.screen.views.record import RecordView

        self.room.open(RecordView(self.room, self._read, self._see, date.today()))

    def _read(self) -> Record:
        from trainer.review import queries
        from trainer.screen.views.record import Record

        self._flush()
        player = self.room.settings.player.id
        with self._journal() as journal:
            return Record(
                queries.totals(journal, player),
                queries.days(journal, player),
                queries.tempi(journal, player, by="day"),
                queries.fluencies(journal, player, ("figuring", "key")),
                queries.faults(journal, player),
                tuple(journal.takes(player, limit=200)),
            )

    def _see(self, take_id: str) -> None:
        """A take of the log on its page, with its marks."""
        from trainer.conducting.setup import Setup
        from trainer.conducting.shell import Shell
        from trainer.journal.sums import read_text
        from trainer.screen.views.after import AfterView
        from trainer.screen.views.play import PlayView

        def read() -> Callable[[], None]:
            with self._journal() as journal:
                take, verdict = journal.take(take_id), journal.verdict(take_id)
            exercise = read_text(take.exercise)

            def show() -> None:
                if verdict is None:
                    self.room.notice = "this take was never judged"
                    return
                setup = Setup(exercise, take.conditions, exercise, self.room.settings.player.id)
                shell = self.desk.take(
                    Shell(setup, self.desk.source, self.desk.output, self.desk.writer)
                )
                play = PlayView(self.room, shell)
                play.inked.replace(verdict.moments, verdict.drawn)
                self.room.open(play)
                self.room.open(AfterView(self.room, play, take, verdict, True))

            return show

        self.room.errands.ask(read, lambda show: show(), self._say)

    def _flush(self) -> None:
        if self.desk.writer is not None:
            self.desk.writer.flush()

    def _journal(self) -> Journal:
        from trainer.journal.store import Journal as Opened

        writer = self.desk.writer  # which may have had to go on in another file
        return Opened.open(self.desk.log or None if writer is None else writer.location)

    def library(self) -> Library:
        """The library, read once; call it beside the loop the first time."""
        if self._library is None:
            from trainer.score.library import Library as Opened

            self._library = Opened(self.room.settings.exercises)
        return self._library


def midi_ports(source: Source) -> Callable[[], Ports]:
    """Asks for the names of the MIDI inputs, as whoever listens has seen them last, and of the
    outputs, which are being looked for from now on. Asking never waits."""
    from trainer.conducting.sources import HandsSource
    from trainer.sound.instruments import Instruments

    instruments = Instruments()
    return lambda: (source.ports if isinstance(source, HandsSource) else (), instruments.names)


def get_ready() -> None:
    """Load what the views will need, beside the loop, so that no door opens slowly."""
    import trainer.conducting.drill_plan
    import trainer.screen.views.choices
    import trainer.screen.views.play
    import trainer.screen.views.record
    import trainer.screen.views.shelf
    import trainer.screen.views.today
    import trainer.theory.realize  # noqa: F401


if TYPE_CHECKING:
    from trainer.journal.store import Journal
