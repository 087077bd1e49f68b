"""Music made up: chords a bass may carry, basses under a melody, melodies, new pieces."""
