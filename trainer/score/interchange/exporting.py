"""One exercise into a file of another program, by the file's suffix."""

from __future__ import annotations

import io
import os
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.files import check_place
from trainer.score.exercise import Exercise
from trainer.score.interchange.mei_file import to_mei
from trainer.score.interchange.midi_file import to_midi
from trainer.score.interchange.musicxml import to_musicxml
from trainer.score.kern import write_exercise

_CONTAINER = """<?xml version="1.0" encoding="UTF-8"?>
<container><rootfiles><rootfile full-path="score.musicxml" \
media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>
"""


def to_humdrum(exercise: Exercise, *, solution: bool = False) -> str:
    """The native file, which is Humdrum; without `solution` alto and tenor are left out."""
    return write_exercise(exercise if solution else replace(exercise, alto=(), tenor=()))


def _text(writer: Callable[..., str]) -> Callable[[Exercise, bool], bytes]:
    return lambda exercise, solution: writer(exercise, solution=solution).encode()


def _compressed(exercise: Exercise, solution: bool) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", _CONTAINER)
        archive.writestr("score.musicxml", to_musicxml(exercise, solution=solution))
    return buffer.getvalue()


def _midi(exercise: Exercise, solution: bool) -> bytes:
    buffer = io.BytesIO()
    to_midi(exercise, solution=solution).save(file=buffer)
    return buffer.getvalue()


FORMATS: dict[str, Callable[[Exercise, bool], bytes]] = {
    ".musicxml": _text(to_musicxml),
    ".xml": _text(to_musicxml),
    ".mxl": _compressed,
    ".mei": _text(to_mei),
    ".krn": _text(to_humdrum),
    ".mid": _midi,
}


def export(exercise: Exercise, path: Path, *, solution: bool = False) -> None:
    """Write the exercise in the format of the path's suffix, whole or not at all.

    Raises ExerciseError for a suffix that is none of FORMATS or a file that cannot be written.
    """
    writer = FORMATS.get(path.suffix.lower())
    if writer is None:
        raise ExerciseError(
            f"{path.suffix or 'no suffix'} is no format to write",
            file=path,
            remedy=f"use one of {', '.join(FORMATS)}",
        )
    write_whole(path, writer(exercise, solution))


def write_whole(path: Path, data: bytes) -> None:
    """Put a file in place at once, so that nobody ever sees half of one; raises ExerciseError."""
    try:
        check_place(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            mask = os.umask(0)
            os.umask(mask)
            Path(name).chmod(0o666 & ~mask)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise ExerciseError(f"cannot be written: {error.strerror or error}", file=path) from None
