"""A row that only grows, and is a value all the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Generic, TypeVar, overload

T = TypeVar("T")


class Trail(Sequence[T], Generic[T]):
    """A row of items; `with_one` gives another trail, one longer, and leaves this one as it is.

    Both share what they have in common, so that adding costs the same however long the row has
    become. Only a trail that has been added to before, and is added to once more, is copied.
    """

    __slots__ = ("_items", "_length")

    def __init__(self, items: Iterable[T] = ()) -> None:
        self._items = list(items)
        self._length = len(self._items)

    def with_one(self, item: T) -> Trail[T]:
        """This row and one more item."""
        longer: Trail[T] = Trail()
        grown_elsewhere = len(self._items) > self._length
        longer._items = self._items[: self._length] if grown_elsewhere else self._items
        longer._items.append(item)
        longer._length = self._length + 1
        return longer

    def __len__(self) -> int:
        return self._length

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[T]: ...
    def __getitem__(self, index: int | slice) -> T | Sequence[T]:
        if isinstance(index, slice):
            return [self._items[i] for i in range(*index.indices(self._length))]
        if not -self._length <= index < self._length:
            raise IndexError("beyond the end of the trail")
        return self._items[index if index >= 0 else index + self._length]

    def __iter__(self) -> Iterator[T]:
        return islice(iter(self._items), self._length)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Trail | tuple):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    def __hash__(self) -> int:
        return hash((self._length, self._items[0] if self._length else None))

    def __repr__(self) -> str:
        return f"Trail({list(self)!r})"
