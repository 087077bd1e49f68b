"""`rules`: every rule with its explanation, weight, source and a notated example; then the causes
of wrong chords, each with what a teacher says to it and an example."""

from __future__ import annotations

import textwrap
from typing import Any

import click

from trainer.commands.printing import print_json
from trainer.errors import InputError
from trainer.judging.lessons import LESSONS, Lesson, lesson_of
from trainer.theory.rules import (
    COMMON,
    RULES,
    RULES_VERSION,
    SCHOOLS,
    Example,
    Rule,
    School,
    rule,
    weight,
)
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
    """Print the rules the judge goes by and the causes it names, or only those asked for."""
    ids = names or _EVERY
    for id in ids:
        _check(id)
    chosen = [rule(id) for id in ids if id not in LESSONS]
    causes = {id: lesson for id in ids if (lesson := lesson_of(id)) is not None}
    if as_json:
        print_json(
            {
                "version": 1,
                "rules_version": RULES_VERSION,
                "school": school,
                "rules": [_plain(rule, school) for rule in chosen],
                "causes": [_cause_plain(id, lesson) for id, lesson in causes.items()],
            }
        )
        return
    said = [_text(rule, school) for rule in chosen]
    said += [_cause_text(id, lesson) for id, lesson in causes.items()]
    click.echo("\n\n".join(said))


_EVERY = (*(one.id for one in RULES), *LESSONS)


def _check(name: str) -> None:
    if name in _EVERY:
        return
    near = [id for id in _EVERY if any(part in id for part in name.split("-") if part)]
    raise InputError(
        f"there is no rule or cause {name!r}",
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


def _cause_plain(id: str, lesson: Lesson) -> dict[str, Any]:
    example = lesson.example
    return {
        "id": id,
        "title": lesson.title,
        "advice": lesson.advice,
        "source": COMMON,
        "example": {
            "key": example.key,
            "figurings": list(example.figurings),
            "bass": example.bass,
            "melody": example.melody,
            "played": list(example.played),
            "right": list(example.right),
        },
    }


def _cause_text(id: str, lesson: Lesson) -> str:
    """What is written, what was played and what would have been right, a column a chord."""
    example = lesson.example
    rows = (
        ("melody", example.melody.split()),
        ("bass", example.bass.split()),
        ("figures", [figuring or "-" for figuring in example.figurings]),
        ("played", example.played),
        ("right", example.right),
    )
    columns = [max(map(len, column)) + 3 for column in zip(*(r for _, r in rows), strict=True)]
    lines = [f"{lesson.title}  [{id}, a cause]"]
    lines += textwrap.wrap(lesson.advice, _WIDTH, initial_indent="  ", subsequent_indent="  ")
    for name, cells in rows:
        row = "".join(f"{cell:<{width}}" for cell, width in zip(cells, columns, strict=True))
        lines.append(f"    {name:<8}{row}".rstrip())
    lines[-1] += f"   (key of {example.key})"
    return "\n".join([*lines, f"  Source: {COMMON}."])


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
