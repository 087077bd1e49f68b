"""What the log says."""
