"""The pass as a value, and what to play next."""
