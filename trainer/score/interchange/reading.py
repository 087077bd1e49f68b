"""Foreign files read in a process of their own, which may be lost without loss."""

from __future__ import annotations

import queue
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import Any

from trainer.apart import JSON, Process
from trainer.errors import ExerciseError
from trainer.score.interchange.foreign import ForeignScore

_BASE_SECONDS = 4.0  # for any file
_SECONDS_PER_MEGABYTE = 1.0  # more, for larger ones
_START_SECONDS = 30.0  # for the process itself
_ENTRY = "trainer.score.interchange.child:serve"


class Reader(AbstractContextManager["Reader"]):
    """Reads any number of files; a file that ends or stalls the process gets a new one started."""

    def __init__(self) -> None:
        self._process: Process | None = None
        self._answers: queue.Queue[dict[str, Any] | None] = queue.Queue()

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
        try:
            answer = self._answers.get(timeout=seconds) if process.send(request) else None
        except queue.Empty:
            self._stop()
            raise ExerciseError(
                f"reading it takes more than {seconds:.0f} seconds", file=path
            ) from None
        if answer is None:
            self._stop()
            raise ExerciseError(
                "the file breaks the reader", file=path, remedy="export it anew, as MusicXML"
            )
        assert isinstance(answer, dict)
        return answer

    def _started(self) -> Process:
        if self._process is not None and self._process.alive:
            return self._process
        self._stop()
        answers = self._answers = queue.Queue()
        try:
            self._process = Process(_ENTRY, answers.put, lambda why: answers.put(None), wire=JSON)
            ready = answers.get(timeout=_START_SECONDS)
        except (OSError, queue.Empty):
            ready = None
        if self._process is None or ready is None:
            self._stop()
            raise ExerciseError("the process that reads score files does not start")
        return self._process

    def _stop(self) -> None:
        if self._process is not None:
            self._process.leave()
            self._process.kill()  # whatever the file keeps it at
            self._process.end()
        self._process = None
