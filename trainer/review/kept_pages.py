"""Pieces engraved for pages of HTML, kept in the cache folder: what is practised comes again.

Only print is kept, under a digest of all that it is made of: the piece, its size, the engraver, the
program's own files. What was played and what is said of it is drawn on it each time, so that no
page can show anybody another's notes or marks that no longer hold. A file that is lost, torn or
foreign costs time and nothing else.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import fields
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any, Literal

import trainer
from trainer.engraving.boxes import Box
from trainer.engraving.geometry import Geometry, Head, System
from trainer.engraving.page import Page, engrave_systems
from trainer.files import text_of
from trainer.folders import cache_folder, replace_text
from trainer.resources import program_files
from trainer.score.exercise import Exercise

WIDTH, SPACE = 660.0, 7.5  # pixels of a system, and between staff lines
PIECES = 60  # that are kept, about a tenth of a megabyte each
_LARGEST = 1 << 24  # bytes of one
_MADE_BY = ("engraving", "score", "theory", "review")  # packages with a part in it


@lru_cache(maxsize=16)
def engraved(exercise: Exercise, middle: Literal["suggested"] | None) -> tuple[Page, ...]:
    """The systems of a piece, each on a page of its own, with its own middle voices or none."""
    path = _kept_path(exercise, middle)
    found = _read(path)
    if found is None:
        found = engrave_systems(exercise, WIDTH, space_px=SPACE, middle=middle)
        _write(path, found)
    return found


def _kept_path(exercise: Exercise, middle: str | None) -> Path:
    made_of = repr((_made_by(), WIDTH, SPACE, middle, exercise))
    return _folder() / f"{hashlib.sha256(made_of.encode()).hexdigest()[:32]}.json"


def _folder() -> Path:
    return cache_folder() / "engraved"


@lru_cache(maxsize=1)
def _made_by() -> str:
    versions = (trainer.__version__, metadata.version("verovio"))
    return repr((versions, program_files(*_MADE_BY)))


def _read(path: Path) -> tuple[Page, ...] | None:
    try:
        digest, body = text_of(path, _LARGEST).split("\n", 1)
        if digest != _digest(body):
            return None
        found = tuple(_page(*plain) for plain in json.loads(body))
        os.utime(path)  # wanted now: others go before it
    except (OSError, ValueError, LookupError, TypeError):
        return None
    return found


def _write(path: Path, pages: tuple[Page, ...]) -> None:
    body = json.dumps([_plain(page) for page in pages], separators=(",", ":"))
    with contextlib.suppress(OSError):  # a cache that cannot be written costs time, nothing else
        replace_text(path, f"{_digest(body)}\n{body}")
        by_use = sorted(path.parent.iterdir(), key=lambda one: one.stat().st_mtime_ns)
        for old in by_use[: -PIECES or None]:
            old.unlink(missing_ok=True)


def _digest(body: str) -> str:
    return hashlib.sha256(body.encode()).hexdigest()


def _plain(page: Page) -> list[Any]:
    geometry = page.geometry
    return [
        page.number,
        page.svg,
        geometry.width,
        geometry.height,
        [[getattr(system, field.name) for field in fields(System)] for system in geometry.systems],
        list(geometry.moments.items()),
        [[head.id, head.x, head.y, head.tip] for head in geometry.notes.values()],
        list(geometry.figures.items()),
        geometry.barlines,
        [[getattr(box, field.name) for field in fields(Box)] for box in geometry.printed],
    ]


def _page(
    number: int,
    svg: str,
    width: float,
    height: float,
    systems: list[list[Any]],
    moments: list[tuple[int, float]],
    heads: list[tuple[str, float, float, float | None]],
    figures: list[tuple[int, tuple[float, float]]],
    barlines: list[tuple[float, float, float]],
    printed: list[tuple[str, float, float, float, float]],
) -> Page:
    geometry = Geometry(
        width,
        height,
        tuple(System(*(*extent, tuple(here))) for *extent, here in systems),
        dict(moments),
        {id: Head(id, x, y, tip) for id, x, y, tip in heads},
        {index: (x, y) for index, (x, y) in figures},
        tuple((x, top, bottom) for x, top, bottom in barlines),
        tuple(Box(*box) for box in printed),
    )
    return Page(number, svg, geometry)
