"""The thread that writes a take while it is played.

Every call returns at once; what it hands over is written in order, a transaction at a time. What
cannot be written (a full disk, a folder that became read-only) is kept and tried again with what
comes next and at the end.
"""

from __future__ import annotations

import contextlib
import os
import queue
import socket
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, event, select

from trainer.errors import LogError, TrainerError
from trainer.journal import records
from trainer.journal.continued import go_on
from trainer.journal.copies import keep_copy
from trainer.journal.opening import is_url
from trainer.journal.schema import take as take_table
from trainer.journal.since_opened import Record, Session
from trainer.journal.store import Journal
from trainer.journal.watch import Watch
from trainer.journal.whole import WholeTake, read_whole
from trainer.judging.take import Pause, Take
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent
from trainer.theory.fault import Fault

_RETRY_S = 1.0
_LAST_TRIES, _PAUSE_S = 5, 0.2


class Writer:
    """Writes to the log at a path or URL (None: the default). Raises LogError if it cannot open."""

    def __init__(self, location: str | Path | None = None) -> None:
        self.journal = Journal.open(location)
        self._watch: Watch | None = None
        self._left: list[Journal] = []
        self._session = Session()
        self._news: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._name = f"{socket.gethostname()}/{os.getpid()}"
        self._seqs: dict[str, int] = {}
        self._unfinished: set[str] = set()  # ids of takes whose end is not in the log yet
        self._queue: queue.SimpleQueue[Record | threading.Event | None] = queue.SimpleQueue()
        self._pending: list[Record] = []
        self._trouble: LogError | None = None
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="log writer", daemon=True)
        self._thread.start()
        if not is_url(self.location):
            threading.Thread(target=self._keep_copy, name="log copier", daemon=True).start()

    @property
    def location(self) -> str:
        """The log that is written now: the one opened, or the one it goes on in."""
        return self.journal.location

    @property
    def trouble(self) -> str | None:
        """Why nothing is being written just now, in one line; None while all is well."""
        trouble = self._trouble
        return None if trouble is None else str(trouble)

    def told(self) -> list[str]:
        """What the player should know of the log and has not been told, a line each."""
        news = []
        with contextlib.suppress(queue.Empty):
            while True:
                news.append(self._news.get_nowait())
        return news

    def player(self, id: str, name: str) -> None:
        """What the player of that id is called (`Take.player` holds the id)."""
        self._put("", lambda c: records.name_player(c, id, name))

    def begin(self, take: Take) -> str:
        """A take is about to be played (its `events` still empty); its id."""
        id = str(uuid.uuid4())
        self._unfinished.add(id)

        def write(connection: Connection) -> None:
            self._seqs[id] = records.begin_take(connection, id, take, self._name)

        self._put(id, write)
        return id

    def events(self, take_id: str, events: Sequence[KeyEvent]) -> None:
        """The next raw events of a take."""
        ours = tuple(events)
        self._put(take_id, lambda c: records.append_events(c, self._seqs[take_id], ours))

    def moment(self, take_id: str, verdict: MomentVerdict, faults: Sequence[Fault] = ()) -> None:
        """What is said of one moment, with the faults that became known with it."""
        ours = tuple(faults)
        self._put(take_id, lambda c: records.append_moment(c, self._seqs[take_id], verdict, ours))

    def went_on(self, take_id: str, pauses: Sequence[Pause]) -> None:
        """Where the take was broken off and went on, so far."""
        ours = tuple(pauses)
        self._put(take_id, lambda c: records.put_pauses(c, self._seqs[take_id], ours))

    def end(
        self,
        take_id: str,
        take: Take,
        verdict: PassVerdict | Callable[[], PassVerdict] | None,
        finished: bool = True,
    ) -> None:
        """The take whole, with all its events, and its marks; `finished` if played to its end.

        A verdict that takes long may be a function: it is called in the writer's own thread.
        """
        state = "finished" if finished else "stopped"

        def write(connection: Connection) -> WholeTake:
            said = verdict() if callable(verdict) else verdict
            seq = self._seqs[take_id]
            records.end_take(connection, seq, take, said, state)
            return read_whole(connection, seq)

        self._queue.put(Record(take_id, write))

    def flush(self, timeout: float = 10.0) -> None:
        """Wait until everything handed over so far is written; LogError if it cannot be."""
        done = threading.Event()
        self._queue.put(done)
        if not done.wait(timeout):
            raise LogError("the log is not being written", remedy="see whether the disk answers")
        if self._trouble is not None:
            raise self._trouble

    def undone(self) -> str:
        """What is lost if the program ends now, in one line; nothing where no take is open."""
        if not self._unfinished:
            return ""
        return (
            "the last pass was not finished in the log in time; what was written of it counts as "
            "broken off. If it was not a very long one, see whether the disk answers"
        )

    def close(self) -> str | None:
        """Write what is left and stop; LogError says what could not be written. A line that the
        player should still be told, if there is one."""
        self._closing.set()
        self._queue.put(None)
        self._thread.join()
        self.journal.close()
        if self._pending:
            why = self._trouble or LogError("the log cannot be written")
            raise LogError(
                f"{why.what}: {len(self._pending)} records of this session are not in the log",
                file=why.file,
                remedy=why.remedy,
            )
        return next(iter(self.told()), None)

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _put(self, take_id: str, write: Callable[[Connection], None]) -> None:
        self._queue.put(Record(take_id, write))

    def _keep_copy(self) -> None:
        """In a thread of its own: chords are written meanwhile."""
        try:
            keep_copy(Path(self.location), date.today(), self._closing)
        except LogError as error:
            self._news.put(str(error))

    # ---- in the thread --------------------------------------------------------------------

    def _run(self) -> None:
        self._begin_watching()
        while True:
            stop, waiting = self._collect()
            self._write()
            for done in waiting:
                done.set()
            if stop:
                self._insist()
                self._look_last()
                return

    def _collect(self) -> tuple[bool, list[threading.Event]]:
        """Take in what has come, waiting for the first; whether it is the end, who waits."""
        waiting: list[threading.Event] = []
        timeout = _RETRY_S if self._pending else None
        try:
            item = self._queue.get(timeout=timeout)
            while True:
                if item is None:
                    return True, waiting
                if isinstance(item, threading.Event):
                    waiting.append(item)
                else:
                    self._pending.append(item)
                item = self._queue.get_nowait()
        except queue.Empty:
            return False, waiting

    def _insist(self) -> None:
        """At the end: what could not be written may have waited for another station only."""
        for _ in range(_LAST_TRIES):
            if not self._pending:
                return
            time.sleep(_PAUSE_S)
            self._write()

    def _write(self) -> None:
        if not self._pending:
            return
        try:
            self._stay_with_the_file()
            with self.journal.writing() as connection:
                ended = [record.write(connection) for record in self._pending]
        except TrainerError as error:
            self._trouble = LogError(error.what, file=error.file, remedy=error.remedy)
            return
        except Exception as error:  # the thread must live: later takes are written after all
            self._trouble = LogError(f"a record cannot be written ({error!r})")
            return
        over = {one.take for one, whole in zip(self._pending, ended, strict=True) if whole}
        self._unfinished -= over
        if self._watch is not None:
            for record, whole in zip(self._pending, ended, strict=True):
                self._session.add(record, whole)
            self._checkpoint(self._watch)
        self._pending.clear()
        self._trouble = None

    # ---- the file that is written -----------------------------------------------------------

    def _begin_watching(self) -> None:
        if is_url(self.location):
            return
        engine = self.journal.engine
        event.listen(engine, "connect", _no_checkpoints)
        engine.dispose()  # what is open already would checkpoint by itself
        try:
            with self.journal.reading() as connection:
                self._watch = Watch(Path(self.location), connection)
        except (OSError, TrainerError) as error:
            self._trouble = LogError(f"the log cannot be watched over ({error})")

    def _checkpoint(self, watch: Watch) -> None:
        """Between takes the file itself holds everything: whoever copies it then has it all. At
        the end SQLite sees to that."""
        if self._closing.is_set() or (self._session.playing and not watch.much_ahead()):
            return
        with contextlib.suppress(TrainerError), self.journal.reading() as connection:
            watch.checkpoint(connection)

    def _stay_with_the_file(self) -> None:
        """Where the file is no longer the one that was opened, go on in a new one beside it."""
        what = "" if self._watch is None else self._watch.amiss()
        if self._watch is None or not what:
            return
        left, lost = self.journal, self._watch
        self.journal = go_on(left, lost, self._session)
        try:
            lost.let_go(left.engine)
        except OSError:
            self._left.append(left)  # never closed, so that it never writes again
        self._begin_watching()
        self._news.put(
            f"{left.location}: the log {what} while it was open; "
            f"going on in {self.location} (`log merge` joins them)"
        )

    def _look_last(self) -> None:
        try:
            self._stay_with_the_file()
        except TrainerError as error:
            self._trouble = LogError(error.what, file=error.file, remedy=error.remedy)


def _no_checkpoints(connection: Any, _record: Any) -> None:
    connection.execute("PRAGMA wal_autocheckpoint=0")


def settle(journal: Journal) -> int:
    """Close the takes whose program died, kept to their last chord; how many there were.

    A take is left alone while its writer lives on this machine, or, where that cannot be asked
    (another machine, Windows), while it showed a sign of life within the last hour.
    """
    query = select(take_table.c.seq, take_table.c.writer, take_table.c.touched)
    with journal.reading() as connection:
        rows = connection.execute(query.where(take_table.c.state == "open")).all()
    dead = [seq for seq, writer, touched in rows if not _alive(writer, touched)]
    for seq in dead:
        with journal.writing() as connection:
            records.recover_take(connection, seq)
    return len(dead)


def _alive(writer: str, touched: float) -> bool:
    host, _, process = writer.rpartition("/")
    # Windows has no harmless signal to ask with.
    if host != socket.gethostname() or os.name == "nt":
        return time.time() - touched < 3600
    try:
        os.kill(int(process), 0)
    except (ProcessLookupError, ValueError):
        return False
    except PermissionError:
        return True
    return True
