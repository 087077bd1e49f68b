"""Nothing that is seen, printed or read aloud asks the keys: all of it draws what was heard."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import trainer

ROOM = Path(trainer.__file__).parent
DRAWING = ("screen", "terminal", "engraving", "review")
HANDS = {"capture", "performance", "strokes"}  # of a session: what the hands do
ROOMS = ("trainer.listening.capture", "trainer.listening.held")


def asked_of_the_keys(source: str) -> list[str]:
    """Where a module reads what the hands do, or has it at hand: `line: what`."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in HANDS:
            found.append(f"{node.lineno}: .{node.attr}")
        elif isinstance(node, ast.ImportFrom) and node.module in ROOMS:
            found.append(f"{node.lineno}: {node.module}")
        elif isinstance(node, ast.Import):
            found += [f"{node.lineno}: {n.name}" for n in node.names if n.name in ROOMS]
    return found


@pytest.mark.parametrize("room", DRAWING)
def test_no_view_reads_the_state_of_the_keys(room: str) -> None:
    modules = sorted((ROOM / room).rglob("*.py"))
    assert modules
    found = {m.name: asked for m in modules if (asked := asked_of_the_keys(m.read_text("utf-8")))}
    assert found == {}


@pytest.mark.parametrize(
    "source",
    [
        "places = session.capture.down",
        "held = self.shell.session.performance.hands.down",
        "from trainer.listening.held import Held",
        "import trainer.listening.capture as hands",
    ],
)
def test_what_would_read_them_is_found(source: str) -> None:
    assert asked_of_the_keys(source)
