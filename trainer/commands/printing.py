"""How commands print what they report."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from typing import Any

import click


def print_json(value: Mapping[str, Any]) -> None:
    """One object on stdout, readable by people too; `version` comes first.

    Where stdout is not Unicode, letters it may lack are escaped, so that none is lost.
    """
    unicode = (sys.stdout.encoding or "").lower().startswith("utf")
    print(json.dumps(value, ensure_ascii=not unicode, indent=1))


def say_lacking(words: str, paper: str) -> None:
    """A line on stderr for letters that the shipped faces lack; `paper` is the file's name."""
    from trainer.engraving.press.faces import lacking

    letters = lacking(words)
    if letters:
        click.echo(
            f"{paper}: the shipped faces lack {' '.join(letters)}; an empty box stands for each",
            err=True,
        )
