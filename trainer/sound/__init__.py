"""What is heard: tuning, tone, tactus, output; no music theory here."""
