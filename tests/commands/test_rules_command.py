"""`mittelstimme rules`."""

from __future__ import annotations

import json

from click.testing import CliRunner

from trainer.commands.rules_command import command
from trainer.errors import InputError
from trainer.judging.lessons import LESSONS
from trainer.theory.rules import RULES


def test_every_rule_is_printed_with_source_and_example() -> None:
    result = CliRunner().invoke(command, [])
    assert result.exit_code == 0
    for rule in RULES:
        assert f"[{rule.id}, {rule.weight}]" in result.output
    assert result.output.count("Source: ") == len(RULES) + len(LESSONS)
    assert result.output.count("soprano ") >= len(RULES)


def test_rules_as_json() -> None:
    result = CliRunner().invoke(command, ["consecutive-fifths", "--school", "free", "--json"])
    found = json.loads(result.output)
    assert found["version"] == 1
    assert [rule["id"] for rule in found["rules"]] == ["consecutive-fifths"]
    assert found["rules"][0]["weight"] == "gross"
    assert len(found["rules"][0]["example"]["chords"]) == 2


def test_every_cause_is_printed_after_the_rules_with_advice_and_example() -> None:
    output = CliRunner().invoke(command, []).output
    words = " ".join(output.split())
    for id, lesson in LESSONS.items():
        assert f"{lesson.title} [{id}, a cause] {lesson.advice}" in words
        assert output.index(f"[{id}, a cause]") > max(output.index(f"[{one.id}, ") for one in RULES)
        for chord in (*lesson.example.played, *lesson.example.right):
            assert chord in output


def test_one_cause_in_the_terminal_and_as_json() -> None:
    shown = CliRunner().invoke(command, ["held-on"]).output
    assert shown.splitlines()[-6:-1] == [
        "    melody  g4            held",
        "    bass    g3            held",
        "    figures 4             3",
        "    played  g3 c4 d4 g4   g3 c4 d4 g4",
        "    right   g3 c4 d4 g4   g3 b3 d4 g4   (key of C)",
    ]
    found = json.loads(CliRunner().invoke(command, ["held-on", "--json"]).output)
    assert found["rules"] == []
    (cause,) = found["causes"]
    assert cause["id"] == "held-on" and cause["title"] == LESSONS["held-on"].title
    assert cause["example"]["right"] == ["g3 c4 d4 g4", "g3 b3 d4 g4"]


def test_a_rule_a_school_does_not_mind_says_so() -> None:
    result = CliRunner().invoke(command, ["hidden-fifth", "--school", "free"])
    assert "not minded in the free school" in result.output


def test_an_unknown_rule_is_an_error_that_names_near_ones() -> None:
    result = CliRunner().invoke(command, ["consecutive-thirds"])
    assert isinstance(result.exception, InputError)
    assert "consecutive-fifths" in str(result.exception)
    near = CliRunner().invoke(command, ["bass-read"])
    assert isinstance(near.exception, InputError) and "bass-misread" in str(near.exception)
