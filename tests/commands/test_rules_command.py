"""`mittelstimme rules`."""

from __future__ import annotations

import json

from click.testing import CliRunner

from trainer.commands.rules_command import command
from trainer.errors import InputError
from trainer.theory.rules import RULES


def test_every_rule_is_printed_with_source_and_example() -> None:
    result = CliRunner().invoke(command, [])
    assert result.exit_code == 0
    for rule in RULES:
        assert f"[{rule.id}, {rule.weight}]" in result.output
    assert result.output.count("Source: ") == len(RULES)
    assert result.output.count("soprano ") >= len(RULES)


def test_rules_as_json() -> None:
    result = CliRunner().invoke(command, ["consecutive-fifths", "--school", "free", "--json"])
    found = json.loads(result.output)
    assert found["version"] == 1
    assert [rule["id"] for rule in found["rules"]] == ["consecutive-fifths"]
    assert found["rules"][0]["weight"] == "gross"
    assert len(found["rules"][0]["example"]["chords"]) == 2


def test_a_rule_a_school_does_not_mind_says_so() -> None:
    result = CliRunner().invoke(command, ["hidden-fifth", "--school", "free"])
    assert "not minded in the free school" in result.output


def test_an_unknown_rule_is_an_error_that_names_near_ones() -> None:
    result = CliRunner().invoke(command, ["consecutive-thirds"])
    assert isinstance(result.exception, InputError)
    assert "consecutive-fifths" in str(result.exception)
