"""Foreign files read in a process of their own, which may be lost without loss."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import Any

from trainer.errors import ExerciseError
from trainer.score.interchange.foreign import ForeignScore

_BASE_SECONDS = 4.0  # for any file
_SECONDS_PER_MEGABYTE = 1.0  # more, for larger ones
_START_SECONDS = 30.0  # for the process itself


class Reader(AbstractContextManager["Reader"]):
    """Reads any number of files; a file that ends or stalls the process gets a new one started."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._answers: queue.Queue[str | None] = queue.Queue()

    def read(self, path: Path | str, *, repeats: bool = True) -> ForeignScore:
        """The score in a MusicXML, .mxl, MEI or Humdrum file; raises ExerciseError."""
        path = Path(path)
        try:
            size = path.stat().st_size
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise ExerciseError(f"cannot be read: {reason}", file=path) from None
        seconds = _BASE_SECONDS + _SECONDS_PER_MEGABYTE * size / 1e6
        request = {"path": str(path.absolute()), "repeats": repeats, "seconds": seconds}
        answer = self._ask(request, seconds, path)
        if "error" in answer:
            said = answer["error"]
            raise ExerciseError(said["what"], file=path, line=said["line"], remedy=said["remedy"])
        return ForeignScore.from_json(answer["score"])

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop()

    def _ask(self, request: dict[str, Any], seconds: float, path: Path) -> dict[str, Any]:
        process = self._started()
        assert process.stdin is not None
        try:
            process.stdin.write(json.dumps(request) + "\n")
            process.stdin.flush()
            line = self._answers.get(timeout=seconds)
        except queue.Empty:
            self._stop()
            raise ExerciseError(
                f"reading it takes more than {seconds:.0f} seconds", file=path
            ) from None
        except OSError:
            line = None
        if line is None:
            self._stop()
            raise ExerciseError(
                "the file breaks the reader", file=path, remedy="export it anew, as MusicXML"
            )
        answer = json.loads(line)
        assert isinstance(answer, dict)
        return answer

    def _started(self) -> subprocess.Popen[str]:
        if self._process is not None and self._process.poll() is None:
            return self._process
        self._stop()
        root = str(Path(__file__).resolve().parents[3])
        paths = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))
        self._process = subprocess.Popen(
            [sys.executable, "-m", "trainer.score.interchange.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
            env={**os.environ, "PYTHONPATH": paths},
        )
        self._answers = queue.Queue()
        listener = threading.Thread(
            target=_listen, args=(self._process, self._answers), daemon=True
        )
        listener.start()
        try:
            ready = self._answers.get(timeout=_START_SECONDS)
        except queue.Empty:
            ready = None
        if ready is None:
            self._stop()
            raise ExerciseError("the process that reads score files does not start")
        return self._process

    def _stop(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:
                    continue  # what was still to be written to a dead process
        self._process = None


def _listen(process: subprocess.Popen[str], answers: queue.Queue[str | None]) -> None:
    assert process.stdout is not None
    try:
        for line in process.stdout:
            answers.put(line)
    except (OSError, ValueError):
        pass  # the pipe was closed under it
    answers.put(None)
