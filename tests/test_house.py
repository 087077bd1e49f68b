"""The house: every room has a name of its own, and no way leads from a room back to it."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import trainer

PACKAGE = Path(trainer.__file__).parent


def rooms() -> dict[str, Path]:
    """Every module by its whole name."""
    found = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imported(path: Path) -> Iterator[str]:
    """What a module imports when it runs, also inside functions; for types alone does not count."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in typing_only:
            continue
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            yield node.module
            yield from (f"{node.module}.{one.name}" for one in node.names)


def test_no_two_rooms_have_one_name() -> None:
    names = Counter(path.stem for path in rooms().values() if path.stem != "__init__")
    assert [name for name, times in names.items() if times > 1] == []


def test_no_way_leads_from_a_room_back_to_it() -> None:
    """A package that hands on what its rooms offer is not one of them."""
    known = rooms()
    ways = {
        room: {other for other in imported(path) if other in known and other != room}
        for room, path in known.items()
        if path.stem != "__init__"
    }
    assert sum(map(len, ways.values())) > 1000
    list(TopologicalSorter(ways).static_order())  # raises CycleError, which names a circle
