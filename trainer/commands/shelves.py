"""The library as the commands see it: the user's own folders from the settings, and a bar."""

from __future__ import annotations

import sys
from contextlib import AbstractContextManager
from types import TracebackType

from trainer.score.library import Library
from trainer.settings import load


class ProgressBar(AbstractContextManager["ProgressBar"]):
    """A bar on a terminal's stderr, shown once there is something to tell; silent elsewhere."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._bar: object | None = None

    def __call__(self, at: int, of: int) -> None:
        """`at` of `of` steps are done."""
        if not sys.stderr.isatty() or of < 20:
            return
        from rich.console import Console
        from rich.progress import Progress

        if self._bar is None:
            self._bar = Progress(console=Console(stderr=True), transient=True)
            self._bar.start()
            self._task = self._bar.add_task(self._title, total=of)
        assert isinstance(self._bar, Progress)
        self._bar.update(self._task, completed=at)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()  # type: ignore[attr-defined]


def open_library() -> Library:
    """The shipped exercises and the folders the settings name, indexed where they have changed."""
    with ProgressBar("reading the exercises") as bar:
        library = Library(load().exercises, progress=bar)
        library.refresh()
    return library
