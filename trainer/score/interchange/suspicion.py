"""What lies in a foreign file, found out with suspicion: size, zip, encoding, entities, kind.

Runs in the reading process. Whatever is wrong with a file is an ExerciseError of one line.
"""

from __future__ import annotations

import errno
import io
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from lxml import etree

from trainer.errors import ExerciseError
from trainer.files import content
from trainer.score.interchange.humdrum_source import marked
from trainer.score.interchange.musicxml_source import FACT, prepared

Kind = Literal["MusicXML", "MEI", "Humdrum"]

LARGEST = 20_000_000  # bytes, after unpacking; a symphony's MusicXML stays below
_MOST_ENTRIES = 1000
_DOCTYPE = re.compile(rb"<!DOCTYPE[^>\[]*(\[[^\]]*\]\s*)?>")


@dataclass(frozen=True, slots=True)
class Source:
    """Text that the engraver can load, the facts it would drop, and remarks for the user.

    `divisions` is how many units of MusicXML duration make a quarter note, 0 in other formats;
    `tokens` are the figurings of a Humdrum file, for which the text has marks.
    """

    kind: Kind
    text: str
    title: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    divisions: int = 0
    tokens: tuple[str, ...] = ()


def open_source(path: Path) -> Source:
    """Read and prepare one file; raises ExerciseError."""
    try:
        data = content(path, LARGEST)
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise ExerciseError(
                f"the file has more than {LARGEST} bytes",
                file=path,
                remedy="a score this large is not an exercise; split it",
            ) from None
        raise ExerciseError(f"cannot be read: {error.strerror or error}", file=path) from None
    try:
        if data.startswith(b"PK"):
            data = _unpacked(data)
        return _source(data)
    except ExerciseError as error:
        raise error.at(file=path) from None


def _source(data: bytes) -> Source:
    start = data.lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n")[:64].replace(b"\0", b"")
    if not start:
        raise ExerciseError("the file is empty")
    if start.startswith(b"<"):
        return _xml(data)
    if start.startswith(b"MThd"):
        raise ExerciseError(
            "a MIDI file holds no figures", remedy="import MusicXML, MEI or Humdrum"
        )
    if start.startswith((b"!", b"**")):
        return _humdrum(data)
    raise ExerciseError("this is no MusicXML, MEI or Humdrum", remedy="export it as MusicXML")


def _unpacked(data: bytes) -> bytes:
    """The score inside a compressed MusicXML file, never more than LARGEST bytes of it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            if len(entries) > _MOST_ENTRIES:
                raise ExerciseError(f"the archive holds {len(entries)} files")
            if sum(entry.file_size for entry in entries) > LARGEST:
                raise ExerciseError(f"the archive unpacks to more than {LARGEST} bytes")
            names = {entry.filename: entry for entry in entries}
            wanted = None
            if "META-INF/container.xml" in names:
                container = _parse(_member(archive, names["META-INF/container.xml"]))
                found = container.iter("{*}rootfile")
                wanted = next((item.get("full-path") for item in found), None)
            if wanted is None:
                scores = [name for name in names if name.endswith((".xml", ".musicxml"))]
                wanted = next((name for name in scores if not name.startswith("META-INF")), None)
            if wanted is None or wanted not in names:
                raise ExerciseError("there is no score in the archive")
            return _member(archive, names[wanted])
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise ExerciseError(f"the archive is damaged: {str(error)[:80]}") from None
    except Exception as error:  # zlib, lzma and bz2 have errors of their own
        if isinstance(error, ExerciseError):
            raise
        raise ExerciseError(f"the archive is damaged: {str(error)[:80]}") from None


def _member(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    with archive.open(entry) as file:  # the size written in the archive may be a lie
        data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise ExerciseError(f"the archive unpacks to more than {LARGEST} bytes")
    return data


def _parse(data: bytes) -> Any:
    if b"<!ENTITY" in data.replace(b"\0", b""):
        raise ExerciseError(
            "the file declares XML entities, which no score needs", remedy="save it anew"
        )
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            text = data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise ExerciseError(f"the file is damaged UTF-16 text: {error.reason}") from None
        data = re.sub(r"^\s*<\?xml[^>]*\?>", "", text).encode()
    # the document type names a grammar on the network, which nobody is to fetch
    data = _DOCTYPE.sub(lambda match: b"\n" * match[0].count(b"\n"), data, count=1)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False, collect_ids=False
    )
    try:
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        what = str(error.msg or "not well-formed").split("(")[0]
        what = re.sub(r",? line \d+, column \d+", "", what).strip()
        raise ExerciseError(f"this is no sound XML: {what}", line=error.lineno or None) from None
    except ValueError as error:
        raise ExerciseError(f"this is no sound XML: {error}") from None


def _xml(data: bytes) -> Source:
    root = _parse(data)
    name = etree.QName(root).localname
    if name in ("score-partwise", "score-timewise"):
        done = prepared(root)
        return Source(
            "MusicXML", _text(done.root), done.title, done.facts, done.remarks, done.divisions
        )
    if name in ("mei", "music"):
        return Source("MEI", _text(root), _mei_title(root), _mei_facts(root))
    raise ExerciseError(
        f"the file holds a <{name}>, not a score", remedy="export it as MusicXML or MEI"
    )


def _text(tree: Any) -> str:
    text: str = etree.tostring(tree, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}'


def _mei_title(root: Any) -> str:
    title = next(root.iter("{*}title"), None)
    return "" if title is None else " ".join("".join(title.itertext()).split())


def _mei_facts(root: Any) -> tuple[tuple[str, str], ...]:
    return tuple(
        (item.get("type")[len(FACT) :], " ".join("".join(item.itertext()).split()))
        for item in root.iter("{*}annot")
        if (item.get("type") or "").startswith(FACT)
    )


def _humdrum(data: bytes) -> Source:
    remarks: tuple[str, ...] = ()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            text = data.decode("utf-16") if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ""
        except UnicodeDecodeError:
            text = ""
        if not text:
            text = data.decode("latin-1")
            remarks = ("the text is not UTF-8 and was read as Latin-1",)
    if "\0" in text:
        raise ExerciseError("the file holds a NUL byte: it is not text")
    if not re.search(r"(^|\t)\*\*kern\b", text, re.MULTILINE):
        raise ExerciseError("there is no **kern spine in the file")
    title = re.search(r"^!!!OTL[^:]*:[ \t]*(.+)$", text, re.MULTILINE)
    text, tokens = marked(text)
    name = title[1].strip() if title else ""
    return Source("Humdrum", text, name, remarks=remarks, tokens=tokens)
