"""What of a log was once found whole: digests of it, in a file of the cache folder.

A seal is made over everything a piece of the log holds, so that one that fits says all. Seals are
added as they are made: a check that is broken off is gone on with. A file that is lost, torn or
foreign costs time and nothing else.
"""

from __future__ import annotations

import contextlib
import hashlib
import marshal
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import trainer
from trainer.files import check_place, content
from trainer.folders import cache_folder
from trainer.journal.schema import SCHEMA_VERSION

_SIZE = 16  # bytes of a seal
_LARGEST = 1 << 26  # bytes of the file
_SPARE = 4  # times as many seals as are of use, from which on the file is written anew


def seal(*parts: Any) -> bytes:
    """The digest of plain values: tuples, lists, texts, bytes, numbers."""
    # version 2 writes values by what they are alone, not by how often they are held
    return hashlib.blake2b(marshal.dumps(parts, 2), digest_size=_SIZE).digest()


class Seals:
    """Seals of one log. Without a path they are forgotten afterwards."""

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self._known: set[bytes] = set()
        self._used: set[bytes] = set()
        with contextlib.suppress(OSError):
            data = b"" if path is None else content(path, _LARGEST)
            self._known = {data[at : at + _SIZE] for at in range(0, len(data) - _SIZE + 1, _SIZE)}

    @staticmethod
    def of(location: str) -> Seals:
        """The seals kept of the log at a path or URL."""
        # What one program calls whole, another need not.
        facts = f"{location}\n{SCHEMA_VERSION}\n{trainer.__version__}"
        name = hashlib.sha256(facts.encode()).hexdigest()[:24]
        return Seals(cache_folder() / f"verified-{name}.seals")

    def fits(self, made: bytes) -> bool:
        """Whether that was found whole before."""
        found = made in self._known
        if found:
            self._used.add(made)
        return found

    def add(self, made: Iterable[bytes]) -> None:
        """Keep the seals of what was found whole now."""
        new = [one for one in made if one not in self._known]
        self._known.update(new)
        self._used.update(new)
        if self._path is not None and new:
            with contextlib.suppress(OSError):
                check_place(self._path)
                self._path.parent.mkdir(parents=True, exist_ok=True)
                with self._path.open("ab") as file:
                    torn = file.tell() % _SIZE
                    file.write(bytes((_SIZE - torn) % _SIZE) + b"".join(new))

    def tidy(self) -> None:
        """After a check to the end: forget what nothing fits any more, where that is much."""
        if self._path is None or len(self._known) <= _SPARE * len(self._used):
            return
        fresh = self._path.with_suffix(".new")
        with contextlib.suppress(OSError):
            fresh.write_bytes(b"".join(self._used))
            fresh.replace(self._path)
        self._known = set(self._used)

    def forget(self) -> None:
        """Begin anew."""
        self._known.clear()
        if self._path is not None:
            with contextlib.suppress(OSError):
                self._path.unlink(missing_ok=True)
