"""The path engine against plain enumeration."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from trainer.theory.realize.lattice import (
    FORBIDDEN,
    Lattice,
    cheapest,
    count,
    onward,
    reached,
)


@st.composite
def lattices(draw: st.DrawFn) -> tuple[Lattice, list[np.ndarray]]:
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=5))
    cost = st.one_of(st.integers(0, 9), st.just(FORBIDDEN))

    def array(*shape: int) -> np.ndarray:
        size = int(np.prod(shape))
        flat = draw(st.lists(cost, min_size=size, max_size=size))
        return np.array(flat, np.int64).reshape(shape)

    own = tuple(array(size) for size in sizes)
    steps = [array(a, b) for a, b in itertools.pairwise(sizes)]
    return Lattice(own, steps.__getitem__), steps


def every_path(lattice: Lattice, steps: list[np.ndarray]) -> list[tuple[int, tuple[int, ...]]]:
    paths = []
    for choices in itertools.product(*(range(len(own)) for own in lattice.own)):
        cost = sum(int(own[c]) for own, c in zip(lattice.own, choices, strict=True))
        cost += sum(
            int(s[a, b]) for s, (a, b) in zip(steps, itertools.pairwise(choices), strict=True)
        )
        if cost < FORBIDDEN:
            paths.append((cost, choices))
    return sorted(paths)


@given(lattices())
def test_the_count_is_the_number_of_paths(drawn: tuple[Lattice, list[np.ndarray]]) -> None:
    assert count(drawn[0]) == len(every_path(*drawn))


@given(lattices(), st.integers(1, 12))
def test_the_k_cheapest_are_the_first_k_of_all(
    drawn: tuple[Lattice, list[np.ndarray]], k: int
) -> None:
    found = cheapest(drawn[0], k)
    every = every_path(*drawn)
    assert [path.cost for path in found] == [cost for cost, _ in every[:k]]
    assert len({path.choices for path in found}) == len(found)
    assert all((path.cost, path.choices) in every for path in found)


@given(lattices())
def test_from_every_choice_the_cheapest_end_is_known(
    drawn: tuple[Lattice, list[np.ndarray]],
) -> None:
    lattice, steps = drawn
    every = every_path(lattice, steps)
    ahead = onward(lattice)
    for choice, cost in enumerate(ahead.costs[0].tolist()):
        costs = [c for c, choices in every if choices[0] == choice]
        assert (min(costs) == cost) if costs else cost >= FORBIDDEN
        if costs:
            assert (cost, ahead.path(0, choice)) in every


@given(lattices())
def test_a_choice_is_reached_when_a_path_leads_to_it(
    drawn: tuple[Lattice, list[np.ndarray]],
) -> None:
    lattice, steps = drawn
    for place, here in enumerate(reached(lattice)):
        part = Lattice(lattice.own[: place + 1], lattice.step)
        ends = {choices[-1] for _, choices in every_path(part, steps[:place])}
        assert set(np.flatnonzero(here).tolist()) == ends


def test_counts_beyond_any_machine_word_are_exact() -> None:
    places, choices = 400, 7
    lattice = Lattice(
        tuple(np.zeros(choices, np.int64) for _ in range(places)),
        lambda place: np.zeros((choices, choices), np.int64),
    )
    assert count(lattice) == choices**places
    odd = np.where(np.arange(49).reshape(7, 7) % 3 == 0, FORBIDDEN, 0)
    ways = [1] * 7
    for _ in range(places - 1):
        ways = [sum(w for w, cost in zip(ways, row, strict=True) if cost == 0) for row in odd]
    assert count(Lattice(lattice.own, lambda place: odd)) == sum(ways)
