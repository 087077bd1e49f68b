"""The thread that writes a take while it is played.

Every call returns at once; what it hands over is written in order, a transaction at a time. What
cannot be written (a full disk, a folder that became read-only) is kept and tried again with what
comes next and at the end.
"""

from __future__ import annotations

import os
import queue
import socket
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from pathlib import Path

from sqlalchemy import Connection, select

from trainer.errors import LogError, TrainerError
from trainer.journal import records
from trainer.journal.schema import take as take_table
from trainer.journal.store import Journal
from trainer.judging.take import Take
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent
from trainer.theory.fault import Fault

_Record = Callable[[Connection], None]
_RETRY_S = 1.0
_LAST_TRIES, _PAUSE_S = 5, 0.2


class Writer:
    """Writes to the log at a path or URL (None: the default). Raises LogError if it cannot open."""

    def __init__(self, location: str | Path | None = None) -> None:
        self.journal = Journal.open(location)
        self._name = f"{socket.gethostname()}/{os.getpid()}"
        self._seqs: dict[str, int] = {}
        self._queue: queue.SimpleQueue[_Record | threading.Event | None] = queue.SimpleQueue()
        self._pending: list[_Record] = []
        self._trouble: LogError | None = None
        self._thread = threading.Thread(target=self._run, name="log writer", daemon=True)
        self._thread.start()

    @property
    def trouble(self) -> str | None:
        """Why nothing is being written just now, in one line; None while all is well."""
        trouble = self._trouble
        return None if trouble is None else str(trouble)

    def player(self, id: str, name: str) -> None:
        """What the player of that id is called (`Take.player` holds the id)."""
        self._queue.put(lambda c: records.name_player(c, id, name))

    def begin(self, take: Take) -> str:
        """A take is about to be played (its `events` still empty); its id."""
        id = str(uuid.uuid4())

        def record(connection: Connection) -> None:
            self._seqs[id] = records.begin_take(connection, id, take, self._name)

        self._queue.put(record)
        return id

    def events(self, take_id: str, events: Sequence[KeyEvent]) -> None:
        """The next raw events of a take."""
        ours = tuple(events)
        self._queue.put(lambda c: records.append_events(c, self._seqs[take_id], ours))

    def moment(self, take_id: str, verdict: MomentVerdict, faults: Sequence[Fault] = ()) -> None:
        """What is said of one moment, with the faults that became known with it."""
        ours = tuple(faults)
        self._queue.put(lambda c: records.append_moment(c, self._seqs[take_id], verdict, ours))

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

        def record(connection: Connection) -> None:
            said = verdict() if callable(verdict) else verdict
            records.end_take(connection, self._seqs[take_id], take, said, state)

        self._queue.put(record)

    def flush(self, timeout: float = 10.0) -> None:
        """Wait until everything handed over so far is written; LogError if it cannot be."""
        done = threading.Event()
        self._queue.put(done)
        if not done.wait(timeout):
            raise LogError("the log is not being written", remedy="see whether the disk answers")
        if self._trouble is not None:
            raise self._trouble

    def close(self) -> None:
        """Write what is left and stop; LogError says what could not be written."""
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

    def __enter__(self) -> Writer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ---- in the thread --------------------------------------------------------------------

    def _run(self) -> None:
        while True:
            stop, waiting = self._collect()
            self._write()
            for done in waiting:
                done.set()
            if stop:
                self._insist()
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
            with self.journal.writing() as connection:
                for record in self._pending:
                    record(connection)
        except TrainerError as error:
            self._trouble = LogError(error.what, file=error.file, remedy=error.remedy)
            return
        except Exception as error:  # the thread must live: later takes are written after all
            self._trouble = LogError(f"a record cannot be written ({error!r})")
            return
        self._pending.clear()
        self._trouble = None


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
