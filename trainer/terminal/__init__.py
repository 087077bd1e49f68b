"""The terminal views."""
