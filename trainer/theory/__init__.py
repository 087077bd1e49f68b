"""What a figured bass means: pure values and functions, no input or output."""
