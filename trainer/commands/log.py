"""`log`: logs moved between machines, checked, and marked again."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.progress import Progress

from trainer.commands.groups import Group
from trainer.commands.log_option import log_option, one_player, open_log, player_option, which_log
from trainer.commands.printing import print_json
from trainer.errors import LogError

if TYPE_CHECKING:
    from trainer.journal.merge import Merged


@click.group(cls=Group)
def command() -> None:
    """Move logs between machines and players, check them, judge old takes again."""


@command.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--without-playing", is_flag=True, help="Leave the raw playing out, keep the marks.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@player_option
@log_option
def export(
    file: Path, without_playing: bool, as_json: bool, player: str | None, location: str | None
) -> None:
    """Write one player's takes into FILE, to be merged elsewhere."""
    from trainer.journal import merge

    with open_log(location) as journal:
        who = one_player(journal, player)
        count = merge.export(journal, who.id, file, playing=not without_playing)
    if as_json:
        print_json(
            {
                "format": "mittelstimme-export",
                "version": 1,
                "file": str(file),
                "player": {"id": who.id, "name": who.name},
                "takes": count,
                "playing": not without_playing,
            }
        )
    else:
        what = "without the playing" if without_playing else "with the playing"
        print(f"{file}: {count} takes of {who.label}, {what}")


@command.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@log_option
def merge(files: tuple[Path, ...], as_json: bool, location: str | None) -> None:
    """Bring FILES (exported, or other logs) into the log; in any order, twice without harm."""
    from trainer.journal import merge as merging
    from trainer.journal.store import Journal
    from trainer.journal.writer import settle

    found: list[merging.Merged] = []
    with Journal.open(which_log(location)) as journal:
        settle(journal)
        for file in files:
            with _watching(file.name) as progress:
                found.append(merging.merge(journal, file, lambda n: progress(n, None)))
    if as_json:
        files_plain = [_merged_plain(one) for one in found]
        print_json({"format": "mittelstimme-merge", "version": 1, "files": files_plain})
        return
    for one in found:
        whose = ", ".join(name.name or f"player {name.id[:8]}" for name in one.players)
        print(f"{one.source}: {whose}: {one.new} new, {one.changed} changed, {one.known} known")


def _merged_plain(one: Merged) -> dict[str, Any]:
    players = [{"id": name.id, "name": name.name} for name in one.players]
    counts = {"new": one.new, "changed": one.changed, "known": one.known}
    return {"file": one.source, "players": players, **counts}


@command.command()
@click.option("--repair", "mend", is_flag=True, help="Make it whole; the old one is kept beside.")
@click.option("--all", "anew", is_flag=True, help="Also what was found whole before.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@log_option
@click.pass_context
def verify(ctx: click.Context, mend: bool, anew: bool, as_json: bool, location: str | None) -> None:
    """Check that the log is whole: events, marks, sums. Status 1 if something is amiss.

    What was found whole once need only be looked over; a check that is broken off goes on there.
    """
    from trainer.conducting.way_out import WayOut
    from trainer.journal.repair import Repaired, repair
    from trainer.journal.seals import Seals
    from trainer.journal.verify import Checked
    from trainer.journal.verify import verify as check
    from trainer.judging.passes import judge
    from trainer.theory.rules import RULES_VERSION

    where = which_log(location)
    seals = Seals.of(where)
    if anew:
        seals.forget()
    done = Repaired((), "", 0, ())
    checked: Checked | None = None
    with WayOut() as way, _watching("checking") as progress:
        way.at_the_end("the terminal", progress.stop)
        # of one that could not begin, or came to its end, there is nothing to say
        way.at_the_end("errands", lambda: way.status and not checked and progress.broken_off)
        if mend:
            done = repair(where, judge, RULES_VERSION, seals, progress.of)
        with open_log(where) as journal:
            checked = check(journal, seals, progress)
    if checked is None:
        ctx.exit(way.status)
    troubles = done.troubles if mend else checked.troubles
    if as_json:
        print_json(
            {
                "format": "mittelstimme-verify",
                "version": 1,
                "takes": checked.takes,
                "known": checked.known,
                "markings": checked.markings,
                "moments": checked.moments,
                "troubles": [asdict(one) for one in troubles],
                "repaired": mend,
                "kept": done.kept,
                "judged": done.remade,
                "unmarked": [{"take": id, "why": why} for id, why in done.unmarked],
                "left": [asdict(one) for one in checked.troubles],
            }
        )
    else:
        for one in troubles:
            place = f"take {one.take[:8]}: " if one.take else ""
            print(f"{place}{one.what}" + (f"; repair: {one.remedy}" if one.remedy else ""))
        whole = "whole" if not checked.troubles else f"{len(checked.troubles)} troubles"
        counts = f"{checked.takes} takes, {checked.markings} markings, {checked.moments} moments"
        print(f"{counts}: {whole}")
        if done.remade:
            print(f"{done.remade} takes judged anew")
        for id, why in done.unmarked:
            print(f"take {id[:8]} left without marks: {why}")
        if done.kept:
            print(f"the log as it was: {done.kept}")
    if checked.troubles:
        ctx.exit(1)


@command.command()
@click.argument("day", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@log_option
def restore(day: str | None, as_json: bool, location: str | None) -> None:
    """Put back the log of DAY from the copies kept (2026-03-02); without DAY list them.

    The log as it was is kept beside; `log merge` brings in what it knows beyond the copy.
    """
    from trainer.journal import copies
    from trainer.journal.opening import is_url

    where = which_log(location)
    if is_url(where):
        raise LogError("copies are kept of files only", remedy="a server has backups of its own")
    found = {f"{made}": path for made, path in copies.copies(Path(where))}

    def tell(put_back: Path | None, kept: Path | None) -> None:
        if as_json:
            print_json(
                {
                    "format": "mittelstimme-restore",
                    "version": 1,
                    "copies": [{"day": made, "file": str(path)} for made, path in found.items()],
                    "restored": None if put_back is None else str(put_back),
                    "kept": "" if kept is None else str(kept),
                }
            )
            return
        if put_back is None:
            for made, path in found.items():
                print(f"{made}: {path}")
            if not found:
                print("no copies yet")
            return
        print(f"{where}: as it was on {day}")
        if kept is not None:
            print(f"the log as it was: {kept}")

    if day is None:
        tell(None, None)
        return
    if day not in found:
        days = ", ".join(found) or "none"
        raise LogError(f"there is no copy of {day}", file=where, remedy=f"there are {days}")
    _put_back(Path(where), found[day], partial(tell, found[day]))


def _put_back(log: Path, copy: Path, tell: Callable[[Path | None], None]) -> None:
    """Put it back and tell where the log as it was is now. A signal ends it, unless the log is
    being moved already: what has been done is told."""
    from trainer.conducting.way_out import WayOut
    from trainer.journal import copies

    moving = False
    with WayOut() as way:

        def from_here_on_to_the_end() -> None:
            nonlocal moving
            way.only_at_looks()
            moving = True

        as_it_was = "stopped; the log is as it was"
        way.at_the_end("errands", lambda: None if moving else as_it_was)
        tell(copies.restore(log, copy, from_here_on_to_the_end))
    raise click.exceptions.Exit(way.status)


@command.command()
@click.option("--all", "every", is_flag=True, help="Also takes judged by these rules already.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@player_option
@log_option
def remark(every: bool, as_json: bool, player: str | None, location: str | None) -> None:
    """Judge old takes again by the rules of this program; the old marks are kept."""
    from trainer.journal import remark as remarking
    from trainer.judging.passes import judge
    from trainer.theory.rules import RULES_VERSION

    with open_log(location) as journal, _watching("judging") as progress:
        who = None if player is None else journal.player(player).id
        done = remarking.remark(
            journal, judge, RULES_VERSION, player=who, every=every, progress=progress
        )
    if as_json:
        print_json(
            {
                "format": "mittelstimme-remark",
                "version": 1,
                "rules": RULES_VERSION,
                "judged": done.judged,
                "changed": done.changed,
                "left": [{"take": id, "why": why} for id, why in done.left],
            }
        )
        return
    print(f"{done.judged} takes judged by rules {RULES_VERSION}, {done.changed} with other marks")
    for id, why in done.left:
        print(f"take {id[:8]} left as it is: {why}")


@command.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@player_option
@log_option
def assignment(file: Path | None, as_json: bool, player: str | None, location: str | None) -> None:
    """Take in an assignment from a teacher's FILE; show how far one is with all of them."""
    from trainer.commands.class_page import show_assignments

    show_assignments(file, location, player, as_json)


class _Watch:
    """A progress bar, told how many of how many are done."""

    def __init__(self, bar: Progress, what: str) -> None:
        self._bar = bar
        self._task = bar.add_task(what, total=None)
        self._done = 0
        self._all: int | None = None

    def __call__(self, done: int, of: int | None) -> None:
        self._done, self._all = done, of
        self._bar.update(self._task, completed=done, total=of)

    def of(self, what: str, done: int, of: int) -> None:
        """The same of one of several things that are done one after another."""
        self._bar.update(self._task, description=what)
        self(done, of)

    def stop(self) -> None:
        """Leave the terminal as it was."""
        self._bar.stop()

    @property
    def broken_off(self) -> str:
        """What to say of a check that was stopped."""
        of = "" if self._all is None else f" of {self._all}"
        return f"stopped after {self._done}{of} takes; the next time it goes on there"


@contextlib.contextmanager
def _watching(what: str) -> Iterator[_Watch]:
    """A progress bar on a terminal; nothing elsewhere."""
    console = Console(stderr=True)
    with Progress(console=console, disable=not console.is_terminal, transient=True) as bar:
        yield _Watch(bar, what)
