"""A module to try the tool on; nothing imports it but what is tried."""

OCTAVE = 12  # semitones


def wide(low: int, high: int) -> bool:
    """More than an octave apart."""
    return high - low > OCTAVE
