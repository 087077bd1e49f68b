"""The program's end of work done apart: starts the process, talks to it, ends it in time."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from io import BufferedReader, FileIO
from pathlib import Path
from typing import Any, cast

import trainer
from trainer.apart.outbox import Outbox
from trainer.apart.wire import LAST_WORDS, MESSAGE, PICKLED, Wire, framed, frames

LOOKS = 4  # how often a process is looked after in the time of its patience


class Process:
    """One process from its start to its end; whoever wants it again starts another.

    `told` is given every message, in a thread of this process's own and in order; `lost` one line
    why, in the same thread, where the process ends without having been asked to. Neither is
    called any more once `leave` or `end` was.
    """

    def __init__(
        self,
        entry: str,
        told: Callable[[Any], None],
        lost: Callable[[str], None] = lambda why: None,
        *,
        wire: Wire = PICKLED,
        patience: float | None = None,
        handing: tuple[int, ...] = (),
    ) -> None:
        """Start `entry`, written `package.module:function`. Raises OSError where it cannot be.
        `handing` are handles of the system's that it is to have, under the same numbers (POSIX).

        A process that says nothing for `patience` seconds, no message and no beat, is killed and
        lost; time in which this program itself did not run does not count.
        """
        self._told, self._lost, self._wire = told, lost, wire
        self._process = _started(entry, wire, handing)
        self._outbox = Outbox(cast(FileIO, self._process.stdin))
        self._leaving = False
        self._why = ""
        self._heard = 0  # frames so far
        self._over = threading.Event()
        name = entry.rpartition(":")[0].rpartition(".")[2]
        threading.Thread(target=self._receive, daemon=True, name=f"from {name}").start()
        if patience is not None:
            watch = threading.Thread(
                target=self._watch, args=(patience,), daemon=True, name=f"watch {name}"
            )
            watch.start()

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def send(self, message: Any) -> bool:
        """Hand over a message; never waits. False if the process takes nothing any more."""
        return self._outbox.put(framed(MESSAGE, self._wire.packed(message)))

    def leave(self) -> None:
        """Let it end: its line ends after what was sent. Returns at once."""
        self._leaving = True
        self._outbox.close()

    def end(self, within: float = 1.0) -> bool:
        """Ask it to end, then terminate, then kill it; returns after `within` seconds at the
        latest, with False if even then it is there (stuck in the system's own code)."""
        self.leave()
        gone = self._gone(0.6 * within)
        for means in (self._process.terminate, self._process.kill):
            if not gone:
                means()
                gone = self._gone(0.2 * within)
        self._outbox.give_up()
        return gone

    def kill(self) -> None:
        """End it at once, as a fault would: it counts as lost."""
        self._process.kill()

    def wait(self, within: float = 5.0) -> bool:
        """Whether it is gone, and all it said is told, after `within` seconds at most."""
        return self._gone(within) and self._over.wait(within)

    def _gone(self, within: float) -> bool:
        try:
            self._process.wait(within)
        except subprocess.TimeoutExpired:
            return False
        return True

    def _receive(self) -> None:
        with BufferedReader(cast(FileIO, self._process.stdout)) as pipe:
            try:
                for kind, data in frames(pipe):
                    self._heard += 1
                    if not self._heeded(kind, data):
                        break
            finally:
                self._over.set()
                if not self._leaving:
                    self._lost(self._farewell())
                self._outbox.give_up()

    def _heeded(self, kind: int, data: bytes) -> bool:
        """Whether what was said can be read."""
        if kind == LAST_WORDS:
            self._why = data.decode(errors="replace")
        elif kind == MESSAGE and not self._leaving:
            try:
                message = self._wire.unpacked(data)
            except Exception as error:  # pickles raise whatever they like
                self._why = f"it said what cannot be read ({error})"
                return False
            self._told(message)
        return True

    def _farewell(self) -> str:
        if not self._gone(1.0):  # it closed its line and stays: nobody can use it any more
            self._process.kill()
            self._gone(1.0)
        code = self._process.returncode
        return self._why or ("its process ended" if code == 0 else f"its process fell ({code})")

    def _watch(self, patience: float) -> None:
        # looks are counted, not seconds: a computer that slept has not been waiting
        heard, silent = -1, 0
        while silent < LOOKS and not self._over.wait(patience / LOOKS):
            heard, silent = self._heard, silent + 1 if heard == self._heard else 0
        if not self._over.is_set() and not self._leaving:
            self._why = f"it has not answered for {patience:g} s"
            self._process.kill()


def _started(entry: str, wire: Wire, handing: tuple[int, ...]) -> subprocess.Popen[bytes]:
    """By Python's own module path, whatever the program was started by. In a session of its own,
    so that ctrl-C in a terminal is the program's alone to answer."""
    root = str(Path(trainer.__file__).resolve().parent.parent)
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    apart: dict[str, Any] = {"start_new_session": True}
    if sys.platform == "win32":
        flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
        apart = {"creationflags": flags}
    return subprocess.Popen(
        [
            sys.executable,
            "-P",  # files that lie where the program was started are no modules of ours
            "-c",
            f"from trainer.apart.line import run; run({entry!r}, {wire.name!r}, {handing!r})",
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # what libraries grumble is not for the player; `python -X dev` shows it
        stderr=None if sys.flags.dev_mode else subprocess.DEVNULL,
        bufsize=0,
        pass_fds=handing,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        **apart,
    )
