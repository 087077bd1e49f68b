"""Mittelstimme: a practice room for thoroughbass at the keyboard."""

__version__ = "0.1.0"
