"""Work beside the loop: solver, log and library in a thread, their answers at a frame."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

from trainer.errors import TrainerError

_T = TypeVar("_T")


class Errands:
    """Runs one piece of work at a time; what it finds is handed over in the window's thread."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="errand")
        self._found: deque[Callable[[], None]] = deque()
        self._waiting = 0

    def ask(
        self,
        work: Callable[[], _T],
        then: Callable[[_T], None],
        otherwise: Callable[[TrainerError], None] | None = None,
    ) -> None:
        """Have `work` done, then `then` called with what it found, or `otherwise` with its error.

        Errors that are not the user's to mend are raised where the answer would have come.
        """
        self._waiting += 1

        def done(future: Future[_T]) -> None:
            self._found.append(lambda: self._hand_over(future, then, otherwise))

        self._pool.submit(work).add_done_callback(done)

    @property
    def busy(self) -> bool:
        return self._waiting > 0

    def deliver(self) -> bool:
        """Hand over what has been found; whether there was anything."""
        any_found = bool(self._found)
        while self._found:
            self._found.popleft()()
        return any_found

    def close(self) -> None:
        """Wait for what is being done, and drop what has not begun."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _hand_over(
        self,
        future: Future[_T],
        then: Callable[[_T], None],
        otherwise: Callable[[TrainerError], None] | None,
    ) -> None:
        self._waiting -= 1
        if future.cancelled():
            return
        error = future.exception()
        if error is None:
            then(future.result())
        elif isinstance(error, TrainerError):
            if otherwise is not None:
                otherwise(error)
        else:
            raise error
