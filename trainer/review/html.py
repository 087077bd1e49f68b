"""Pages of HTML: one self-contained file each, which opens offline and trusts nothing foreign.

Every text is escaped by the template engine; a content security policy lets no script run but the
page's own player, named by its hash.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import os
import tempfile
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from trainer import __version__
from trainer.errors import InputError
from trainer.files import check_place
from trainer.review.named import named, title_of
from trainer.review.page_face import face_rules
from trainer.review.sheet import Sheet
from trainer.review.tables import figuring_text
from trainer.theory.key import key_in_words

TEMPLATES = Path(__file__).parent / "templates"
_TOPS = ("unknown", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave")


def render(template: str, rules: Iterable[str], made: datetime, **values: Any) -> str:
    """A page; `rules` are the identifiers of all rules and causes it names."""
    script = (TEMPLATES / "play.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        _environment()
        .get_template(template)
        .render(
            rules=named(rules),
            made=f"{made:%Y-%m-%d %H:%M}",
            version=__version__,
            faces=Markup(face_rules()),
            style=Markup((TEMPLATES / "page.css").read_text(encoding="utf-8")),
            script=Markup(script),
            script_hash=f"sha256-{digest}",
            **values,
        )
    )


def write_page(file: Path, text: str) -> None:
    """Write a page whole or not at all; raises InputError."""
    write_whole(file, text.encode())


def write_whole(file: Path, data: bytes) -> None:
    """Write a file whole or not at all; raises InputError."""
    try:
        check_place(file)
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(data)
            unfinished.chmod(0o644)
            unfinished.replace(file)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            f"{file} cannot be written ({error.strerror})", remedy="name another file"
        ) from None


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    environment.filters["figuring"] = figuring_text
    environment.filters["key"] = key_in_words
    environment.filters["title_of"] = title_of
    environment.filters["top"] = lambda top: _TOPS[top] if 0 <= top < len(_TOPS) else "unknown"
    environment.filters["sound"] = _sound
    return environment


def _sound(sheet: Sheet) -> Markup:
    """What the page's player reads: numbers only."""
    notes = [[round(n.start, 4), round(n.duration, 4), n.key, n.velocity] for n in sheet.notes]
    times = [
        [round(time, 4), *cursor]
        for time, cursor in zip(sheet.times, sheet.cursors, strict=True)
        if not math.isnan(time)
    ]
    end = max((note.start + note.duration for note in sheet.notes), default=0.0)
    return Markup(json.dumps({"notes": notes, "times": sorted(times), "end": round(end, 3)}))
