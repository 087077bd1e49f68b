"""The library's memory on disk: a row an exercise, read again only where a file has changed.

A cache and nothing more: it may be deleted at any time, and where it cannot be written the
index lives in memory for this once.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from trainer.errors import ExerciseError
from trainer.score.exercise import Exercise, moment_onsets
from trainer.score.features import cadences, figurings, outline, sequences, stations
from trainer.score.kern import read_exercise
from trainer.score.patterns import expand, read_patterns
from trainer.theory.key import Key

VERSION = 3  # of the rows; another version is thrown away and built anew
BETWEEN = "\x1f"  # stands around each word of a packed list; no word can hold it
_MIDDLE = 1000  # the letter of outline 0: above all control characters


class Entry(NamedTuple):
    """What the library knows of one exercise without opening it.

    `path` is the file, for a drill in scale degrees the file of patterns, `#` and the drill's id.
    `key` is as `Key` prints it (`G major`), `any` for a drill; `signature` counts sharps (+) or
    flats (-); `voices` is 1 for a bass alone, 2 with a melody, 4 with a suggested solution. The
    `*_text` fields are packed, as the index keeps them; the properties of those names unpack
    them. A file that cannot be read has its message in `error` and nothing else.
    """

    path: str
    id: str
    title: str = ""
    tune: str = ""
    key: str = ""
    signature: int = 0
    metre: str = ""
    level: int = 0
    tempo: float = 0.0
    moments: int = 0
    voices: int = 1
    tags_text: str = ""
    figurings_text: str = ""
    sequences_text: str = ""
    cadences_text: str = ""
    outline_text: str = ""
    error: str = ""

    @property
    def tags(self) -> tuple[str, ...]:
        return _unpacked(self.tags_text)

    @property
    def figurings(self) -> tuple[str, ...]:
        """Without signs, successions such as `4, -` among them."""
        return _unpacked(self.figurings_text)

    @property
    def sequences(self) -> tuple[str, ...]:
        return _unpacked(self.sequences_text)

    @property
    def cadences(self) -> tuple[str, ...]:
        return _unpacked(self.cadences_text)

    @property
    def outline(self) -> tuple[int, ...]:
        """The melody in letters above the final."""
        return tuple(ord(letter) - _MIDDLE for letter in self.outline_text)


_FIELDS = ", ".join(Entry._fields)


def _packed(words: Iterable[str]) -> str:
    return "".join(f"{BETWEEN}{word}" for word in words) + BETWEEN


def _unpacked(text: str) -> tuple[str, ...]:
    return tuple(text[1:-1].split(BETWEEN)) if len(text) > 1 else ()


def entry(exercise: Exercise, path: str = "") -> Entry:
    """What the library keeps of an exercise."""
    stops = stations(exercise)
    solved = 2 if exercise.alto or exercise.tenor else 0
    return Entry(
        path=path,
        id=exercise.id,
        title=exercise.title,
        tune=exercise.tune,
        key=str(exercise.key),
        signature=exercise.key.signature,
        metre=str(exercise.metre),
        level=exercise.level,
        tempo=exercise.tempo,
        moments=len(moment_onsets(exercise)),
        voices=1 + bool(exercise.melody) + solved,
        tags_text=_packed(exercise.tags),
        figurings_text=_packed(figurings(stops)),
        sequences_text=_packed(sequences(stops)),
        cadences_text=_packed(cadences(stops)),
        outline_text="".join(chr(_MIDDLE + height) for height in outline(exercise)),
    )


class Index:
    """Rows in an SQLite file, one a native file of the folders last refreshed."""

    def __init__(self, file: Path | None) -> None:
        """`file` is where the index is kept; None keeps it in memory."""
        self._database = _open(file)

    def refresh(
        self, folders: Iterable[Path], progress: Callable[[int, int], None] = lambda at, of: None
    ) -> int:
        """Bring the rows up to date with the folders; how many files were read.

        A file is read if its size or time of change differs. `progress(at, of)` is called after
        each file read. Rows of other folders are left alone.
        """
        roots = [str(folder) for folder in folders]
        present = {
            # a name that is not UTF-8 is listed as a file that cannot be read
            item.path.encode("utf-8", "replace").decode(): (stat.st_mtime_ns, stat.st_size)
            for root in roots
            for item in _files(root)
            for stat in [item.stat()]
        }
        print_ = sha256(repr((roots, present)).encode("utf-8", "surrogateescape")).hexdigest()
        if self._database.execute("SELECT print FROM state").fetchall() == [(print_,)]:
            return 0
        known = {
            file: (time, size)
            for file, time, size in self._database.execute("SELECT file, time, size FROM file")
        }
        changed = [path for path, stamp in present.items() if known.get(path) != stamp]
        beginnings = tuple(root.rstrip(os.sep) + os.sep for root in roots)
        gone = [path for path in known if path.startswith(beginnings) and path not in present]
        with self._database:
            out = [(path,) for path in (*gone, *changed)]
            self._database.executemany("DELETE FROM row WHERE file = ?", out)
            self._database.executemany("DELETE FROM file WHERE file = ?", out)
            marks = ", ".join("?" * (len(Entry._fields) + 1))
            for number, path in enumerate(changed, 1):
                self._database.executemany(
                    f"REPLACE INTO row VALUES ({marks})",
                    [(*item, path) for item in _read(Path(path))],
                )
                progress(number, len(changed))
            self._database.executemany(
                "INSERT INTO file VALUES (?, ?, ?)", [(path, *present[path]) for path in changed]
            )
            self._database.execute("DELETE FROM state")
            self._database.execute("INSERT INTO state VALUES (?)", (print_,))
        return len(changed)

    def entries(self, folders: Iterable[Path], where: str = "", *values: object) -> list[Entry]:
        """The rows of the folders, by id; `where` is an SQL condition over the columns."""
        found: list[Entry] = []
        for folder in folders:
            root = str(folder).rstrip(os.sep) + os.sep
            condition = f"AND ({where})" if where else ""
            rows = self._database.execute(
                f"SELECT {_FIELDS} FROM row WHERE path >= ? AND path < ? {condition}",
                (root, root[:-1] + chr(ord(os.sep) + 1), *values),
            )
            found += map(Entry._make, rows)
        return found

    def close(self) -> None:
        self._database.close()


def _files(root: str) -> Iterator[os.DirEntry[str]]:
    """Native files, and files of patterns in `patterns`, at any depth; hidden ones are left out."""
    try:
        with os.scandir(root) as items:
            inside = sorted(items, key=lambda item: item.name)
    except OSError:
        return
    drills = os.path.basename(root) == "patterns"  # noqa: PTH119 (ten thousand times)
    for item in inside:
        if item.name.startswith("."):
            continue
        if item.name.endswith(".krn") or (drills and item.name.endswith(".toml")):
            if item.is_file():
                yield item
        elif item.is_dir(follow_symlinks=False):
            yield from _files(item.path)


def _read(path: Path) -> list[Entry]:
    try:
        if path.suffix != ".toml":
            return [entry(read_exercise(path), str(path))]
        return [
            entry(expand(pattern, Key.parse("C")), f"{path}#{identity}")._replace(
                id=identity, title=pattern.title, key="any"
            )
            for identity, pattern in read_patterns(path).items()
        ]
    except ExerciseError as error:
        return [Entry(path=str(path), id=path.stem, error=str(error))]


def _open(file: Path | None) -> sqlite3.Connection:
    if file is not None:
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            return _prepared(sqlite3.connect(file, timeout=5))
        except sqlite3.DatabaseError:  # locked, read-only, or no database: begin anew or in memory
            try:
                file.unlink()
                return _prepared(sqlite3.connect(file, timeout=5))
            except (sqlite3.Error, OSError):
                pass
        except OSError:
            pass
    return _prepared(sqlite3.connect(":memory:"))


def _prepared(database: sqlite3.Connection) -> sqlite3.Connection:
    database.create_function("casefold", 1, str.casefold, deterministic=True)
    if database.execute("PRAGMA user_version").fetchone()[0] != VERSION:
        columns = ", ".join(Entry._fields[1:])
        with database:
            for table in ("row", "file", "state"):
                database.execute(f"DROP TABLE IF EXISTS {table}")
            database.execute(f"CREATE TABLE row (path PRIMARY KEY, {columns}, file) WITHOUT ROWID")
            database.execute("CREATE INDEX by_file ON row (file)")
            database.execute("CREATE TABLE file (file PRIMARY KEY, time, size) WITHOUT ROWID")
            database.execute("CREATE TABLE state (print)")
            database.execute(f"PRAGMA user_version = {VERSION}")
    else:
        with database:  # a write that changes nothing: learn now that the file is read-only
            database.execute("DELETE FROM row WHERE 0")
    return database
