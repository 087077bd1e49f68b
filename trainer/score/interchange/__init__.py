"""Scores of other programs: in as exercises, out as MusicXML, MEI, Humdrum and MIDI."""

from trainer.score.interchange.common import with_realization
from trainer.score.interchange.exporting import export, to_humdrum
from trainer.score.interchange.importing import (
    Wishes,
    WrittenParts,
    import_file,
    read_parts,
    score_files,
)
from trainer.score.interchange.mei_file import to_mei
from trainer.score.interchange.midi_file import to_midi
from trainer.score.interchange.musicxml import to_musicxml
from trainer.score.interchange.reading import Reader

__all__ = [
    "Reader",
    "Wishes",
    "WrittenParts",
    "export",
    "import_file",
    "read_parts",
    "score_files",
    "to_humdrum",
    "to_mei",
    "to_midi",
    "to_musicxml",
    "with_realization",
]
