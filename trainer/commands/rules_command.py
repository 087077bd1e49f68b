"""`rules`: every rule with its explanation, weight, source and a notated example."""

from __future__ import annotations

import textwrap
from typing import Any

import click

from trainer.commands.printing import print_json
from trainer.errors import InputError
from trainer.theory.rules import RULES, RULES_VERSION, SCHOOLS, Example, Rule, School, weight
from trainer.theory.voicing import VOICES

_WIDTH = 88


@click.command()
@click.argument("names", nargs=-1, metavar="[RULE]...")
@click.option(
    "--school",
    type=click.Choice(list(SCHOOLS)),
    default="strict",
    show_default=True,
    help="The school whose weights are shown.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(names: tuple[str, ...], school: School, as_json: bool) -> None:
    """Print the rules the judge goes by, or only those named."""
    chosen = [_rule(name) for name in names] if names else list(RULES)
    if as_json:
        print_json(
            {
                "version": 1,
                "rules_version": RULES_VERSION,
                "school": school,
                "rules": [_plain(rule, school) for rule in chosen],
            }
        )
        return
    click.echo("\n\n".join(_text(rule, school) for rule in chosen))


def _rule(name: str) -> Rule:
    for rule in RULES:
        if rule.id == name:
            return rule
    near = [rule.id for rule in RULES if any(part in rule.id for part in name.split("-") if part)]
    raise InputError(
        f"there is no rule {name!r}",
        remedy=f"perhaps {', '.join(near[:5])}" if near else "`mittelstimme rules` lists them",
    )


def _plain(rule: Rule, school: School) -> dict[str, Any]:
    return {
        "id": rule.id,
        "weight": weight(rule.id, school),
        "group": rule.group,
        "title": rule.title,
        "sentence": rule.sentence,
        "explanation": rule.explanation,
        "source": rule.source,
        "example": {
            "key": rule.example.key,
            "figurings": list(rule.example.figurings),
            "chords": list(rule.example.chords),
            "bass": rule.example.bass,
            "melody": rule.example.melody,
            "held": rule.example.held,
        },
    }


def _text(rule: Rule, school: School) -> str:
    heavy = weight(rule.id, school) or f"not minded in the {school} school"
    lines = [f"{rule.title}  [{rule.id}, {heavy}]"]
    lines += textwrap.wrap(rule.explanation, _WIDTH, initial_indent="  ", subsequent_indent="  ")
    lines += _notated(rule.example)
    lines.append(f"  Source: {rule.source}.")
    return "\n".join(lines)


def _notated(example: Example) -> list[str]:
    """The chords as a small score of note names, one row a voice, figures under the bass."""
    columns = [list(reversed(chord.split())) for chord in example.chords]
    rows = [
        f"    {name:<8}" + "".join(f"{column[voice]:<6}" for column in columns).rstrip()
        for voice, name in enumerate(VOICES)
    ]
    figures = "".join(f"{figuring or '-':<6}" for figuring in example.figurings).rstrip()
    written = [
        f"    written {part}: {note}"
        for part, note in (("bass", example.bass), ("melody", example.melody))
        if note
    ]
    written += [f"    held through the last chord: {example.held}"] if example.held else []
    return [*rows, f"    {'figures':<8}{figures}   (key of {example.key})", *written]
