"""What everything in the window is set and drawn with."""
