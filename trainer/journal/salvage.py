"""A new log from everything that can be read of a damaged one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, insert, update

from trainer.errors import LogError
from trainer.journal.beside import dated, move, remove
from trainer.journal.bundle import Name
from trainer.journal.gathered import Found, Gathered
from trainer.journal.merge import put_player
from trainer.journal.pages import rows
from trainer.journal.readable import (
    NOBODY,
    Head,
    number,
    readable_events,
    readable_head,
    readable_text,
    words,
)
from trainer.journal.readable_marks import readable_verdict, what_is_left
from trainer.journal.schema import chunk, exercise_text, fault, marking, meta, moment, player, take
from trainer.journal.store import Journal
from trainer.journal.sums import Sums
from trainer.journal.whole import Said, WholeTake, put_whole
from trainer.listening.events import KeyEvent

_BATCH = 500  # takes in one transaction


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What came of it: where the damaged log is now, how many takes were kept, the ids of those
    of which something is lost, and of those whose marks are to be made anew."""

    kept: Path
    takes: int
    poorer: tuple[str, ...]
    unmarked: tuple[str, ...]


def salvage(path: Path, progress: Callable[[int, int], None] = lambda done, of: None) -> Salvaged:
    """Put a new log with everything readable in the place of a damaged one, which is kept beside.

    `progress` is told how many of how many takes are done. Raises LogError where nothing can be
    read, or the new log cannot be written; the file then stays where it is.
    """
    fresh = path.with_name(f".{path.name}.salvaged")
    try:
        remove(fresh)
        with Gathered(rows(path)) as found:
            kept = _fill(fresh, found, progress)
        if not kept:
            raise LogError("nothing in the log can be read", file=path, remedy="use a backup")
        aside = dated(path, "damaged")
        move(path, aside)
        move(fresh, path)
    except OSError as error:
        what = f"cannot be read into a new file ({error.strerror})"
        raise LogError(what, file=path, remedy="see to the folder's rights and room") from None
    finally:
        remove(fresh)
    poorer = tuple(one.id for one in kept if one.poorer)
    unmarked = tuple(one.id for one in kept if one.unmarked)
    return Salvaged(aside, len(kept), poorer, unmarked)


@dataclass(frozen=True, slots=True)
class _Kept:
    """A take in the new log: whether something of it is lost, and whether its marks are."""

    id: str
    poorer: bool
    unmarked: bool


def _fill(fresh: Path, found: Gathered, progress: Callable[[int, int], None]) -> list[_Kept]:
    shelf = _Shelf(found)
    seqs = found.takes()
    kept: list[_Kept] = []
    with Journal.open(fresh) as journal:
        for at in range(0, len(seqs), _BATCH):
            with journal.writing() as connection:
                if at == 0:
                    _put_players(connection, found)
                sums = Sums()
                kept += filter(
                    None, (shelf.move(seq, connection, sums) for seq in seqs[at : at + _BATCH])
                )
                sums.write(connection)
            progress(min(at + _BATCH, len(seqs)), len(seqs))
    return kept


def _put_players(connection: Connection, found: Gathered) -> None:
    """Everybody the damaged log knew, and who is at the keyboard where nobody is named."""
    usual = [row["value"] for row in found.every(meta) if row["name"] == "player"]
    for row in found.every(player):
        id, name = words(row["id"]), words(row["name"])
        if id and len(id) <= 36:
            put_player(connection, Name(id, name or "", number(row["named"]) or 0.0))
            if row["local"] != 0:
                here = update(player).where(player.c.id == id)
                connection.execute(here.values(local=True))
            if id in usual[:1]:
                connection.execute(insert(meta), {"name": "player", "value": id})


class _Shelf:
    """What was found of a damaged log, take by take."""

    def __init__(self, found: Gathered) -> None:
        self.found = found
        self.texts: dict[int, tuple[str, bool]] = {}  # each with whether it is as it was played
        for row in found.every(exercise_text):
            text, sound = readable_text(row["text"], row["digest"])
            seq = row["seq"]
            if (
                text is not None
                and isinstance(seq, int)
                and not self.texts.get(seq, ("", False))[1]
            ):
                self.texts[seq] = text, sound
        ids = {words(row["id"]) for row in found.every(player)}
        self.players = frozenset(id for id in ids if id is not None)

    def move(self, seq: int, connection: Connection, sums: Sums) -> _Kept | None:
        """Bring a take into the new log; None where nothing is left of it."""
        events, complete = readable_events(self.found.where(chunk, "take_seq", seq, "number"))
        row, head = self._head(seq, events)
        said, lost = self._said(seq, row, bool(events))
        if not events and not said and not head.whole:
            return None
        name = "somebody" if head.take.player == NOBODY else ""
        put_player(connection, Name(head.take.player, name, 0.0))
        whole = WholeTake(head.id, head.take, head.state, head.seconds, bool(events), said)
        put_whole(connection, whole, sums)
        return _Kept(head.id, lost or not (head.whole and complete), lost and bool(events))

    def _head(self, seq: int, events: tuple[KeyEvent, ...]) -> tuple[Found, Head]:
        """The best there is of the rows that are said to be its head."""
        told = self.found.hearsay(seq)
        found = []
        for row in self.found.where(take, "seq", seq) or [told]:
            text, sound = self._text(row, told)
            found.append((row, readable_head(row, told, text, sound, events, self.players)))
        return max(found, key=lambda pair: pair[1].whole)

    def _text(self, row: Found, told: Found) -> tuple[str, bool]:
        seq = row.get("text_seq")
        if isinstance(seq, int) and seq in self.texts:
            return self.texts[seq]
        # An exercise that was only ever played in one key is known by its name.
        id = row.get("exercise_id") or told.get("exercise_id")
        others = [n for n in self.found.texts_of(str(id)) if n in self.texts]
        return self.texts[others[0]] if len(others) == 1 else ("", False)

    def _said(self, seq: int, row: Found, playing: bool) -> tuple[tuple[Said, ...], bool]:
        """The marks of a take, and whether any are lost. Of marks that can be made anew none is
        kept but what is word for word as it was."""
        said: list[Said] = []
        lost = False
        for one in self.found.where(marking, "take_seq", seq):
            if one["digest"] is None:  # made while it was played
                continue
            moments = self.found.where(moment, "marking_seq", one["seq"])
            faults = self.found.where(fault, "marking_seq", one["seq"])
            verdict = readable_verdict(one, moments, faults)
            lost = lost or verdict is None
            if verdict is None and not playing:
                verdict = what_is_left(one, moments, faults)
            rules = one["rules"]
            if verdict is not None and isinstance(rules, int) and 0 <= rules < 2**31:
                said.append(Said(rules, number(one["made"]) or 0.0, verdict))
        ended = row.get("state") != "open" and row.get("marking_seq") is not None
        return tuple(said), lost or (not said and (ended or not row.get("id")))
