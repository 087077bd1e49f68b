"""Windows for the tests, closed whatever happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from tests.screen.hands import Hands, open_hands
from trainer.settings import Settings

Opens = Callable[..., Hands]


@pytest.fixture
def window() -> Iterator[Opens]:
    opened: list[Hands] = []

    def make(
        size: tuple[int, int] = (1280, 800), settings: Settings | None = None, real: bool = False
    ) -> Hands:
        hands = open_hands(size, settings, real=real)
        opened.append(hands)
        return hands

    yield make
    for hands in opened:
        hands.close()
