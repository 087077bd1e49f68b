"""What has been drawn once and is wanted again, as much of it as memory is set aside for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

_T = TypeVar("_T")


@dataclass
class Kept(Generic[_T]):
    """Things by name; those that were not wanted for longest go when all together weigh more than
    `most`. `weight` of one is in the same unit, bytes for surfaces."""

    most: int
    weight: Callable[[_T], int]
    held: int = 0
    _kept: OrderedDict[Hashable, _T] = field(default_factory=OrderedDict)

    def find(self, name: Hashable, make: Callable[[], _T]) -> _T:
        """What is kept under a name, else what `make` makes, which is kept from now on."""
        found = self._kept.get(name)
        if found is not None:
            self._kept.move_to_end(name)
            return found
        made = self._kept[name] = make()
        self.held += self.weight(made)
        while self.held > self.most and len(self._kept) > 1:
            _, gone = self._kept.popitem(last=False)
            self.held -= self.weight(gone)
        return made

    def __len__(self) -> int:
        return len(self._kept)
