"""The class behind `review --class`, and the assignments behind `log assignment`."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from trainer.commands.log_option import one_player, open_log, which_log
from trainer.commands.printing import print_json
from trainer.journal.opening import is_url
from trainer.journal.store import Journal, Player
from trainer.review.assignments import (
    Assignment,
    Progress,
    progress,
    read_assignment,
    take_in,
    taken_in,
)
from trainer.review.classroom import Classroom, Pupil, class_csv, class_page, classroom
from trainer.review.html import write_page
from trainer.review.named import title_of
from trainer.review.plain_records import advice_plain, totals_plain
from trainer.review.tables import share_text


def show_class(
    location: str | None,
    html: Path | None,
    csv: Path | None,
    assigned: tuple[Path, ...],
    last_day: date,
    as_json: bool,
) -> None:
    """Everybody in the log: a table, or what is asked for. Raises TrainerError."""
    from trainer.commands.shelves import open_library
    from trainer.practice.material import open_material

    assignments = [read_assignment(path) for path in assigned]
    with open_log(location) as journal:
        room = classroom(journal, open_material(open_library()), assignments, last_day)
    if html is not None:
        write_page(html, class_page(room, datetime.now().astimezone()))
    if csv is not None:
        write_page(csv, class_csv(room))
    if as_json:
        print_json(_room_plain(room))
    elif html is None and csv is None:
        Console().print(_room_table(room))


def _room_plain(room: Classroom) -> dict[str, Any]:
    return {
        "format": "mittelstimme-class",
        "version": 1,
        "first": str(room.span.first),
        "last": str(room.span.last),
        "players": [_pupil_plain(one, room) for one in room.pupils],
    }


def _pupil_plain(pupil: Pupil, room: Classroom) -> dict[str, Any]:
    step = pupil.standing
    return {
        "id": pupil.player.id,
        "name": pupil.player.name,
        "days": pupil.days,
        "last": None if pupil.last is None else str(pupil.last),
        "totals": totals_plain(pupil.totals),
        "stuck": [advice_plain(one) for one in pupil.stuck],
        "step": None if step is None else step.step.number,
        "wanted": list(pupil.open),
        "ready": pupil.ready,
        "assignments": [
            _assignment_plain(one, found)
            for one, found in zip(room.assignments, pupil.assigned, strict=True)
        ],
    }


def _assignment_plain(one: Assignment, found: tuple[Progress, ...]) -> dict[str, Any]:
    goals = [
        {
            "exercise": done.goal.exercise_id,
            "key": done.goal.key,
            "tempo": done.goal.tempo,
            "state": done.state,
            "passes": done.passes,
            "good": done.good,
            "fastest": done.fastest,
        }
        for done in found
    ]
    return {"name": one.name, "title": one.title, "until": str(one.until), "goals": goals}


def _room_table(room: Classroom) -> Table:
    title = f"The class, {room.span.first} to {room.span.last}"
    table = Table(box=None, pad_edge=False, title=title, title_justify="left")
    for name in ("player", "days", "minutes", "passes", "chords", "step", "stuck on"):
        text = name in ("player", "stuck on")
        table.add_column(name, justify="left" if text else "right", no_wrap=not text)
    for one in room.pupils:
        stuck = [title_of(a.name) if a.has_title else a.name for a in one.stuck]
        step = "–" if one.standing is None else str(one.standing.step.number)
        row = (
            one.player.label,
            str(one.days),
            f"{one.totals.seconds / 60:.0f}",
            str(one.totals.takes),
            share_text(one.totals.harmony),
            f"{step} ready" if one.ready else step,
            "; ".join(stuck),
        )
        table.add_row(*map(Text, row))
    return table


def _who(journal: Journal, given: str | None) -> Player:
    """The player asked for, else the one at the keyboard, who need not have played yet."""
    from trainer.settings import load

    if given is not None:
        return one_player(journal, given)
    playing = load().player
    known = {one.id: one for one in journal.players()}
    return known.get(playing.id) or Player(playing.id, playing.name, local=True, takes=0)


def show_assignments(
    file: Path | None, location: str | None, player: str | None, as_json: bool
) -> None:
    """Take in `file` if there is one, then show all assignments with the player's progress."""
    from trainer.commands.shelves import open_library
    from trainer.practice.material import open_material

    taken = None if file is None else take_in(file, open_material(open_library()))
    found = taken_in()
    where = which_log(location)
    begun = is_url(where) or Path(where).exists()
    with open_log(where) if begun else Journal.open(where) as journal:
        who = _who(journal, player)
        done = [(one, progress(journal, who.id, one)) for one in found]
    if as_json:
        plain = [_assignment_plain(one, made) for one, made in done]
        who_plain = {"id": who.id, "name": who.name}
        print_json(
            {
                "format": "mittelstimme-assignments",
                "version": 1,
                "player": who_plain,
                "assignments": plain,
            }
        )
        return
    if taken is not None:
        print(f"taken in: {taken.title}, until {taken.until}")
    for one, made in done:
        print(f"{one.title}, until {one.until}")
        for goal in made:
            key = f" in {goal.goal.key}" if goal.goal.key else ""
            fastest = "" if goal.fastest is None else f", fastest {goal.fastest:g}"
            print(f"  {goal.goal.exercise_id}{key} at {goal.goal.tempo:g}: {goal.state}{fastest}")
