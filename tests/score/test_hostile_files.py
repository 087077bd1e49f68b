"""Files that are broken, huge, or made to harm: one clear line each, no hang, nothing else lost."""

from __future__ import annotations

import io
import os
import random
import struct
import sys
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from trainer.errors import ExerciseError
from trainer.resources import exercises_folder
from trainer.score.interchange import Reader, import_file, to_mei, to_musicxml
from trainer.score.interchange.exporting import FORMATS
from trainer.score.interchange.suspicion import LARGEST
from trainer.score.kern import parse_exercise, read_exercise, write_exercise

LAMP = read_exercise(exercises_folder() / "evening-lamp.krn")
MUTATIONS = int(os.environ.get("MITTELSTIMME_DAMAGED_FILES", "1500"))


@pytest.fixture(scope="module")
def reader() -> Iterator[Reader]:
    with Reader() as one:
        yield one


def refusal(data: bytes, name: str, reader: Reader, folder: Path, seconds: float = 120.0) -> str:
    path = folder / name
    path.write_bytes(data)
    began = time.perf_counter()
    with pytest.raises(ExerciseError) as caught:
        import_file(path, reader)
    assert time.perf_counter() - began < seconds
    message = str(caught.value)
    assert "\n" not in message and name in message
    return message


def bomb(size: int) -> bytes:
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("score.musicxml", "w", force_zip64=True) as file,
    ):
        for _ in range(size // 1_000_000):
            file.write(b"\0" * 1_000_000)
    return buffer.getvalue()


def lying_bomb() -> bytes:
    """An archive whose directory says that a bomb is small."""
    data = bytearray(bomb(60_000_000))
    end = data.rindex(b"PK\1\2")
    struct.pack_into("<I", data, end + 24, 1000)
    return bytes(data)


ENTITIES = (
    '<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi"))  # noqa: B905
    + "]><score-partwise>&i;</score-partwise>"
)
OUTSIDE = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]>'
    "<score-partwise><work><work-title>&f;</work-title></work></score-partwise>"
)
XML = to_musicxml(LAMP)


@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        (b"", "empty.musicxml", "the file is empty"),
        (b"   \n", "blank.mei", "the file is empty"),
        (b"\x89PNG\r\n\x1a\n", "picture.xml", "no MusicXML, MEI or Humdrum"),
        (b"MThd\0\0\0\6", "take.xml", "a MIDI file holds no figures"),
        (b"<html><body/></html>", "page.xml", "holds a <html>, not a score"),
        (XML[: len(XML) // 2].encode(), "half.musicxml", "no sound XML"),
        (XML.replace("</note>", "", 1).encode(), "open.musicxml", "no sound XML"),
        (XML.replace("UTF-8", "UTF-99").encode(), "coded.musicxml", "no sound XML"),
        (XML.replace("lamp", "lämp").encode("latin-1"), "latin.musicxml", "no sound XML"),
        (ENTITIES.encode(), "entities.musicxml", "declares XML entities"),
        (ENTITIES.encode("utf-16"), "entities-16.musicxml", "declares XML entities"),
        (OUTSIDE.encode(), "outside.musicxml", "declares XML entities"),
        (b"PK\3\4" + b"\0" * 100, "zip.mxl", "the archive is damaged"),
        (bomb(60_000_000), "bomb.mxl", "unpacks to more than"),
        (lying_bomb(), "lying.mxl", "archive"),
        (b"<score-partwise/>", "nothing.musicxml", "there is not one bar"),
        (b"<mei xmlns='http://www.music-encoding.org/ns/mei'/>", "nothing.mei", "cannot read"),
        (b"**kern\n4c\0\n*-\n", "nul.krn", "NUL"),
        (b"**kern\n*-\n", "no-notes.krn", "there is not one"),
        (XML.replace("<duration>2<", "<duration>1e9<").encode(), "long.musicxml", "duration"),
        (("<a>" * 100_000).encode(), "deep.xml", "no sound XML"),
    ],
    ids=lambda value: value if isinstance(value, str) and "." in value[-9:] else "",
)
def test_a_bad_file_is_refused_in_one_line(
    data: bytes, name: str, says: str, reader: Reader, tmp_path: Path
) -> None:
    assert says in refusal(data, name, reader, tmp_path)


def test_a_file_of_50_megabytes_is_refused(reader: Reader, tmp_path: Path) -> None:
    message = refusal(b"<" + b" " * 50_000_000, "huge.musicxml", reader, tmp_path)
    assert f"more than {LARGEST}" in message


@pytest.mark.skipif(sys.platform == "win32", reason="there a file is as long as what is written")
def test_a_file_that_is_too_long_is_refused_unread(reader: Reader, tmp_path: Path) -> None:
    """Fifty gigabytes of nothing: to read them takes more memory than the process may have."""
    path = tmp_path / "endless.musicxml"
    path.touch()
    os.truncate(path, 50_000_000_000)
    with pytest.raises(ExerciseError, match=f"more than {LARGEST}"):
        import_file(path, reader)


def test_a_file_that_takes_too_long_is_given_up_and_the_next_one_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("trainer.score.interchange.reading._BASE_SECONDS", 0.001)
    monkeypatch.setattr("trainer.score.interchange.reading._SECONDS_PER_MEGABYTE", 0.0)
    path = tmp_path / "slow.musicxml"
    path.write_text(XML)
    with Reader() as own:
        with pytest.raises(ExerciseError, match="takes more than"):
            own.read(path)
        monkeypatch.undo()
        assert own.read(path).length == LAMP.length


def test_a_file_that_ends_the_reading_process_is_reported_and_the_next_one_read(
    tmp_path: Path,
) -> None:
    path = tmp_path / "good.musicxml"
    path.write_text(XML)
    with Reader() as own:
        own.read(path)
        assert own._process is not None
        own._process.kill()
        assert own._process.wait()
        assert own.read(path).length == LAMP.length


def test_the_reading_process_may_not_take_all_memory(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    with Reader() as own:
        path = tmp_path / "good.musicxml"
        path.write_text(XML)
        own.read(path)
        assert own._process is not None
        limit = resource.prlimit(own._process.pid, resource.RLIMIT_AS)
        assert limit[0] <= 2_000_000_000


def test_one_bad_file_among_many_stops_nothing(tmp_path: Path, reader: Reader) -> None:
    good = tmp_path / "good.mei"
    good.write_text(to_mei(LAMP))
    refusal(b"<score-partwise>", "bad.musicxml", reader, tmp_path)
    assert import_file(good, reader).exercise.bass == LAMP.bass


def damaged(data: bytes, chance: random.Random) -> bytes:
    """A few bytes changed, dropped, doubled, or the end cut off."""
    broken = bytearray(data)
    for _ in range(chance.randint(1, 5)):
        if not broken:
            break
        at = chance.randrange(len(broken))
        match chance.randrange(5):
            case 0:
                broken[at] = chance.randrange(256)
            case 1:
                del broken[at : at + chance.randint(1, 60)]
            case 2:
                broken[at:at] = broken[at : at + chance.randint(1, 300)]
            case 3:
                broken[at:at] = chance.choice([b"0", b"-1", b"999999999", b"<", b"\t", b"/", b"\0"])
            case _:
                if chance.random() < 0.2:
                    del broken[at:]
    return bytes(broken)


@pytest.mark.parametrize("suffix", [".musicxml", ".mxl", ".mei", ".krn", ".hum"])
def test_damaged_files_give_an_exercise_or_one_line(
    suffix: str, reader: Reader, tmp_path: Path
) -> None:
    """MITTELSTIMME_DAMAGED_FILES says how many in all."""
    chance = random.Random(suffix)
    write = FORMATS[".krn" if suffix == ".hum" else suffix]
    originals = [
        write(read_exercise(path), True) for path in sorted(exercises_folder().glob("*.krn"))[:12]
    ]
    read = 0
    share = 15 if suffix == ".hum" else 5  # the engraver often dies of it and is started anew
    for number in range(MUTATIONS // share):
        path = tmp_path / f"damaged{suffix}"
        path.write_bytes(damaged(chance.choice(originals), chance))
        began = time.perf_counter()
        try:
            exercise = import_file(path, reader).exercise
            assert parse_exercise(write_exercise(exercise)) == exercise
            read += 1
        except ExerciseError as error:
            assert "\n" not in str(error) and len(str(error)) < 600, number
        assert time.perf_counter() - began < 120, (number, path)  # against hanging
    assert read > 0
