"""Nothing but ordinary files is opened, whoever names them and wherever they lie."""

from __future__ import annotations

import ast
import os
import re
import socket
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import trainer
from trainer.files import NotAFileError, check_place, content, opened, text_of
from trainer.folders import replace_text

PACKAGE = Path(trainer.__file__).parent
posix = pytest.mark.skipif(os.name != "posix", reason="named pipes and devices of POSIX")

# Where a file is opened otherwise, and why that is well.
ARGUED = {
    "files.py": "the room that all others use",
    "__main__.py": "the null device, for streams that were closed",
    "apart/line.py": "the null device, for streams of a process apart",
    "commands/__init__.py": "the null device, for streams nobody reads",
    "commands/exercises_generate.py": "made anew and nowhere else: 'x' opens nothing that is there",
    "checkup/program.py": "letters the program brings with it",
    "engraving/glyphs.py": "letters the program brings with it",
    "engraving/press/faces.py": "letters the program brings with it",
    "journal/bundle.py": "written beside its place, whose kind was looked at before",
    "journal/continued.py": "SQLite, a new log made beside the place of one that is gone",
    "journal/copies.py": "SQLite: the log that is open, copies that are ordinary files, new ones",
    "journal/opening.py": "SQLite, after the place was looked at",
    "journal/gathered.py": "SQLite in memory",
    "journal/seals.py": "written into the cache, after the place was looked at",
    "journal/watch.py": "SQLite, a log that is open already",
    "review/assignments.py": "written beside its place, whose kind was looked at before",
    "review/html.py": "templates the program brings with it",
    "review/page_face.py": "letters the program brings with it",
    "score/index.py": "SQLite in the cache folder; what is no database is begun anew in memory",
    "score/interchange/suspicion.py": "an entry of an archive that is in memory",
    "screen/drawing/lettering.py": "letters the program brings with it",
    "sound/rendering.py": "written for tests, where they wish it",
}
OPENING = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "connect"}
# of other things than files
OTHERS = {
    "room",
    "self",
    "_doors",
    "Journal",
    "MidiInstrument",
    "Opened",
    "output",
    "engine",
    "_interface",
    "_cables",
    "_round",
}


def openings(path: Path) -> Iterator[int]:
    """Lines at which something of the file system is opened."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        match node.func:
            case ast.Name("open"):
                yield node.lineno
            case ast.Attribute(value, name) if name in OPENING:
                whose = re.split(r"\W", ast.unparse(value).split("(")[0])[-1]
                whose = "_doors" if "_doors" in ast.unparse(value) else whose
                if whose not in OTHERS and not (name == "read_text" and "sums" in whose):
                    yield node.lineno


def test_every_file_is_opened_through_one_room_or_with_a_reason() -> None:
    found = {
        path.relative_to(PACKAGE).as_posix(): lines
        for path in sorted(PACKAGE.rglob("*.py"))
        if (lines := list(openings(path)))
    }
    assert {name: lines for name, lines in found.items() if name not in ARGUED} == {}
    assert set(ARGUED) <= set(found), "argued for nothing"


@pytest.fixture
def odd(tmp_path: Path) -> dict[str, Path]:
    """One thing of each kind that is no ordinary file."""
    places = {name: tmp_path / name for name in ("pipe", "folder", "socket", "link")}
    os.mkfifo(places["pipe"])
    places["folder"].mkdir()
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(str(places["socket"]))
    places["link"].symlink_to(places["pipe"])
    places["device"] = Path("/dev/zero")
    return places


@posix
@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("pipe", "a named pipe"),
        ("folder", "a folder"),
        ("socket", "a socket"),
        ("device", "a device"),
        ("link", "a named pipe"),
    ],
)
def test_what_is_no_file_is_neither_read_nor_replaced(
    odd: dict[str, Path], name: str, kind: str
) -> None:
    before = odd[name].stat().st_mode
    for act in (opened, check_place, lambda path: content(path, 10)):
        with pytest.raises(NotAFileError) as error:
            act(odd[name])
        assert error.value.strerror == f"it is {kind}, not a file"
    with pytest.raises(NotAFileError):
        replace_text(odd[name], "text")
    assert stat.S_IFMT(odd[name].stat().st_mode) == stat.S_IFMT(before)


@posix
def test_a_link_to_a_file_is_the_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"\xef\xbb\xbfone\r\ntwo\n")
    (tmp_path / "link").symlink_to(tmp_path / "file")
    assert text_of(tmp_path / "link", 20) == "one\ntwo\n"
    check_place(tmp_path / "link")
    check_place(tmp_path / "nothing there")


def test_of_a_file_no_more_is_read_than_can_be_meant(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"12345")
    assert content(tmp_path / "file", 5) == b"12345"
    with pytest.raises(OSError, match="more than 4 bytes"):
        content(tmp_path / "file", 4)


@posix
@pytest.mark.parametrize(
    "words",
    [
        ("exercises", "import", "pipe.krn"),
        ("exercises", "import", "pipe.xml"),
        ("exercises", "check", "pipe.krn"),
        ("assess", "pipe.krn"),
        ("assess", "/dev/zero"),
        ("log", "merge", "pipe.bundle"),
        ("log", "verify", "--log", "/dev/zero"),
        ("review", "--html", "pipe.xml"),
        ("exercises", "export", "evening-lamp", "-o", "pipe.xml"),
    ],
)
def test_a_pipe_or_a_device_gives_one_line_and_nothing_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.setenv("PYTHONPATH", str(PACKAGE.parent))
    for name in ("pipe.krn", "pipe.xml", "pipe.bundle"):
        os.mkfifo(tmp_path / name)
    if words[0] == "review":  # it needs a log, or there would be nothing to write
        subprocess.run(
            [sys.executable, "-m", "trainer", "practice", "--input", "demo", "--view", "none",
             "--quick"], cwd=tmp_path, check=True, capture_output=True, timeout=120,
        )  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-m", "trainer", *words],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("\n") == 1
    assert "named pipe" in done.stderr or "device" in done.stderr
    assert stat.S_ISFIFO((tmp_path / "pipe.xml").stat().st_mode)
