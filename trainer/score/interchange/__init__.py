"""Scores of other programs: in as exercises, out as MusicXML, MEI, Humdrum and MIDI."""
