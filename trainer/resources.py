"""Where the files that come with the program lie, in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _shipped(name: str) -> Path:
    inside = _PACKAGE / "shipped" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def exercises_folder() -> Path:
    """The folder of shipped exercises (`*.krn`, `patterns/*.toml`, `course.toml`)."""
    return _shipped("exercises")


def assets_folder() -> Path:
    """The folder of shipped fonts, icons and sounds with their licences."""
    return _shipped("assets")


def program_files(*packages: str) -> tuple[tuple[str, int, int], ...]:
    """The modules of the program's packages by name, size and time (ns): a program that was
    changed in place is another."""
    files = [path for part in packages for path in sorted((_PACKAGE / part).rglob("*.py"))]
    facts = [(path, path.stat()) for path in files]
    return tuple((path.name, stat.st_size, stat.st_mtime_ns) for path, stat in facts)
