"""The reference says what the program does: its pages are compared with the program."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.documents.writing import REFERENCE, REPORTS, agrees, commands_text, reported

BLOCK = re.compile(r"^## `(.+?)`$.*?^```json\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def test_the_reference_of_commands_is_what_help_says() -> None:
    page = (REFERENCE / "commands.md").read_text(encoding="utf-8")
    assert page == commands_text(), "run python -m tests.documents.writing"


def test_every_report_has_the_shape_the_reference_shows(tmp_path: Path) -> None:
    page = (REFERENCE / "reports.md").read_text(encoding="utf-8")
    shown = {command: json.loads(text) for command, text in BLOCK.findall(page)}
    assert list(shown) == [report.command for report in REPORTS]
    wrong = [
        report.command
        for report, real in reported(tmp_path)
        if not agrees(shown[report.command], real)
    ]
    assert not wrong, "run python -m tests.documents.writing"


def test_every_report_says_its_version(tmp_path: Path) -> None:
    page = (REFERENCE / "reports.md").read_text(encoding="utf-8")
    shown = [json.loads(text) for _, text in BLOCK.findall(page)]
    assert shown
    assert all(one["version"] >= 1 for one in shown)


@pytest.mark.parametrize(
    ("sample", "real"),
    [
        ({"a": 1}, {"a": 1, "b": 2}),
        ({"a": 1, "b": 2}, {"a": 1}),
        ({"a": "text"}, {"a": 1}),
        ({"a": True}, {"a": 1}),
        ([{"a": 1}, "… 3 more"], [{"b": 1}]),
        ([], [1]),
        ({"a": None}, {"a": {}}),
    ],
)
def test_another_shape_is_told_from_the_sample(sample: object, real: object) -> None:
    assert not agrees(sample, real)
