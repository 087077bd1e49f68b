"""From MIDI bytes and typing keys to struck chords; no music theory here."""
