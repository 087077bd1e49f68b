"""From struck chords and an exercise to verdicts and faults."""
