"""The library: the shipped exercises and the user's own, found by id, path or title."""

from __future__ import annotations

import difflib
import hashlib
import os
import sqlite3
from collections.abc import Callable, Sequence
from functools import cached_property
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.folders import cache_folder, data_folder
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.index import BETWEEN, Entry, Index
from trainer.score.kern import read_exercise
from trainer.score.patterns import Pattern, expand_id, load_patterns
from trainer.score.syllabus import bare
from trainer.score.transpose import transposed
from trainer.theory.key import Key


class Library:
    """Folders of native files behind one index. The user's own come before the shipped ones."""

    def __init__(
        self,
        folders: Sequence[Path | str] | None = None,
        *,
        index: Path | None = None,
        progress: Callable[[int, int], None] = lambda at, of: None,
    ) -> None:
        """`folders` are the user's own, beside `exercises` in the data folder and the shipped.

        `index` is the file of the index (a cache of its own for each set of folders if None);
        `progress(at, of)` is told of each file read when the index is refreshed.
        """
        own = [Path(folder).expanduser().absolute() for folder in folders or ()]
        places = [*own, (data_folder() / "exercises").absolute(), exercises_folder().absolute()]
        self.folders: tuple[Path, ...] = tuple(dict.fromkeys(places))
        self._file = index or cache_folder() / f"exercises-{_mark(self.folders)}.sqlite"
        self._progress = progress

    @cached_property
    def _index(self) -> Index:
        try:
            index = Index(self._file)
            index.refresh(self.folders, self._progress)
        except sqlite3.Error:  # damaged, or held by another program: do without the file
            index = Index(None)
            index.refresh(self.folders, self._progress)
        return index

    def refresh(self) -> int:
        """Look again for changed files; how many were read."""
        return self._index.refresh(self.folders, self._progress)

    def entries(self) -> tuple[Entry, ...]:
        """All files of the library, unreadable ones with their error, own folders first."""
        return tuple(self._index.entries(self.folders))

    def search(
        self,
        words: str = "",
        *,
        figuring: str | None = None,
        sequence: str | None = None,
        cadence: str | None = None,
        key: str | None = None,
        metre: str | None = None,
        level: tuple[int, int] | None = None,
        tune: str | None = None,
        tag: str | None = None,
    ) -> tuple[Entry, ...]:
        """The readable entries that meet every condition.

        `words` are all found in id, title, tune or tags; `figuring` is one such as `6 5` or a
        succession `4, 3`; `sequence` and `cadence` names of `features` or a part of one; `key`
        as `Key.parse` reads it; `level` the lowest and highest step. Raises PitchError for a
        key that is none.
        """
        found = _Conditions()
        for word in words.casefold().split():
            text = "id || ' ' || title || ' ' || tune || ' ' || tags_text"
            found.like(f"casefold({text})", word)
        if figuring is not None:
            found.whole("figurings_text", ", ".join(bare(part) for part in figuring.split(",")))
        found.like("sequences_text", sequence)
        found.like("cadences_text", cadence)
        if key is not None:
            found.holds("key IN (?, 'any')", str(Key.parse(key)))
        if metre is not None:
            found.holds("metre = ?", metre)
        if level is not None:
            found.holds("level BETWEEN ? AND ?", *level)
        found.like("casefold(tune)", tune and tune.casefold())
        found.whole("casefold(tags_text)", tag and tag.casefold())
        return tuple(self._index.entries(self.folders, " AND ".join(found.texts), *found.values))

    @cached_property
    def patterns(self) -> dict[str, Pattern]:
        """The drills in scale degrees by id, from the folders' `patterns`, own ones first."""
        found: dict[str, Pattern] = {}
        for folder in self.folders:
            found = {**load_patterns(folder / "patterns"), **found}
        return found

    def find(self, name: str) -> Exercise:
        """The exercise of that id, path or title.

        `id@G` is the piece or drill with its final on G (`@g` in G minor for a drill), and
        `drill@G:third` begins with the third on top; a drill without a key stands in C. Raises
        ExerciseError with near names if there is none, PitchError for a key that is none.
        """
        identity, at, key = name.rpartition("@")
        if at and not Path(name).is_file():
            if identity in self.patterns:
                return expand_id(self.patterns, name)
            path = self._path(identity)
            if path is None:
                raise self._unknown(identity)
            return transposed(read_exercise(path), key)
        if name.endswith(".krn") or os.sep in name:
            return read_exercise(name)
        path = self._path(name)
        if path is not None:
            return read_exercise(path)
        if name in self.patterns:
            return expand_id(self.patterns, f"{name}@C")
        if name and os.path.lexists(name):
            raise ExerciseError(
                "this is no exercise file",
                file=name,
                remedy="a folder of your own belongs into the settings"
                if Path(name).is_dir()
                else "a score of another program is read with `exercises import`",
            )
        raise self._unknown(name)

    def _path(self, name: str) -> Path | None:
        if name and not name.startswith("."):
            for folder in self.folders:
                path = folder / f"{name}.krn"
                if path.is_file():
                    return path
        plain = name.casefold()
        entries = [item for item in self.entries() if item.key != "any"]
        for item in entries:
            if item.id == name:
                return Path(item.path)
        titled = [
            item for item in entries if plain in (item.title.casefold(), item.tune.casefold())
        ]
        titled = titled if plain else []
        if len(titled) > 1:
            names = ", ".join(item.id for item in titled[:6])
            raise ExerciseError(f"{name!r} names several exercises", remedy=f"choose of {names}")
        return Path(titled[0].path) if titled else None

    def _unknown(self, name: str) -> ExerciseError:
        entries = self.entries()
        names = {item.id.casefold(): item.id for item in entries}
        names |= {item.title.casefold(): item.id for item in entries if item.title}
        near = difflib.get_close_matches(name.casefold(), names, 3, 0.5)
        close = ", ".join(dict.fromkeys(names[word] for word in near))
        remedy = f"did you mean {close}?" if close else "`exercises list` shows what there is"
        return ExerciseError(f"there is no exercise {name!r}", remedy=remedy)


class _Conditions:
    """What an entry must meet, as SQL with its values; None asks for nothing."""

    def __init__(self) -> None:
        self.texts = ["error = ''"]
        self.values: list[object] = []

    def holds(self, condition: str, *values: object) -> None:
        self.texts.append(condition)
        self.values.extend(values)

    def like(self, column: str, part: str | None) -> None:
        """`part` stands somewhere in the column."""
        if part is not None:
            self.holds(f"{column} LIKE ? ESCAPE '\\'", f"%{_literal(part)}%")

    def whole(self, column: str, word: str | None) -> None:
        """`word` is one of those the column lists."""
        if word is not None:
            listed = f"%{BETWEEN}{_literal(word)}{BETWEEN}%"
            self.holds(f"{column} LIKE ? ESCAPE '\\'", listed)


def _literal(word: str) -> str:
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def _mark(folders: tuple[Path, ...]) -> str:
    text = "\n".join(map(str, folders))
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:12]
