"""Exercises and their files."""
