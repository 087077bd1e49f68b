"""The program itself: its Python, the libraries it stands on, the files that came with it."""

from __future__ import annotations

import importlib
import platform
import re
import sys
from importlib import metadata
from pathlib import Path

import trainer
from trainer.checkup.finding import Finding, of_error
from trainer.engraving.fonts import FONT_FILES
from trainer.errors import TrainerError
from trainer.resources import assets_folder, exercises_folder

_INSTALL = "install the program again: `pip install --force-reinstall`"
# distribution -> module; without any of these nothing can be practised
_NEEDED = {
    "numpy": "numpy",
    "mido": "mido",
    "lxml": "lxml.etree",
    "verovio": "verovio",
    "resvg-py": "resvg_py",
    "uharfbuzz": "uharfbuzz",
    "SQLAlchemy": "sqlalchemy",
    "fsrs": "fsrs",
    "rich": "rich",
}
_WINDOW = ("pygame", "pygame-ce")  # one and the same module under two names


def program() -> tuple[Finding, ...]:
    """Versions of what people may be asked for."""
    from trainer.theory.rules import RULES_VERSION

    where = Path(trainer.__file__).parent
    said = f"Mittelstimme {trainer.__version__}, rules {RULES_VERSION}, in {where}"
    return (Finding("program", "good", said), python())


def python(version: tuple[int, ...] = sys.version_info[:3]) -> Finding:
    """The interpreter, held to what the program was built for."""
    name = platform.python_implementation()
    machine = f"{platform.system()} {platform.machine()}"
    said = f"{name} {'.'.join(map(str, version))} on {machine}"
    oldest = _oldest()
    if version < oldest:
        wanted = ".".join(map(str, oldest))
        return Finding("Python", "fatal", said, f"install Python {wanted} or later")
    return Finding("Python", "good", said)


def _oldest() -> tuple[int, ...]:
    try:
        required = metadata.metadata("mittelstimme")["Requires-Python"]
    except metadata.PackageNotFoundError:  # run from a checkout that is not installed
        required = ""
    found = re.search(r">=\s*(\d+)\.(\d+)", required)
    return (int(found[1]), int(found[2])) if found else (3, 11)


def libraries() -> tuple[Finding, ...]:
    """Each that is needed is really imported: a wheel for another machine fails only then."""
    found, failed = [], []
    modules = {**_NEEDED, _window_library(): "pygame"}
    for name, module in modules.items():
        try:
            importlib.import_module(module)
            found.append(f"{name} {metadata.version(name)}")
        except Exception as error:  # an import may raise whatever its binary part does
            failed.append(f"{name} ({type(error).__name__}: {error})")
    if failed:
        said = f"cannot be loaded: {', '.join(failed)}"
        return (Finding("libraries", "fatal", " ".join(said.split()), _INSTALL),)
    if all(_installed(name) for name in _WINDOW):
        said = "pygame and pygame-ce are both installed and overwrite each other's files"
        remedy = "uninstall both, then install the program again"
        return (Finding("libraries", "wrong", said, remedy),)
    return (Finding("libraries", "good", ", ".join(found)),)


def _window_library() -> str:
    return next((name for name in _WINDOW if _installed(name)), _WINDOW[0])


def _installed(name: str) -> bool:
    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def fonts() -> tuple[Finding, ...]:
    """The faces of the page, each opened."""
    import uharfbuzz

    folder = assets_folder() / "fonts"
    broken = []
    for file in FONT_FILES.values():
        try:
            letters = uharfbuzz.Face((folder / file).read_bytes()).glyph_count
        except OSError:
            letters = 0
        if not letters:
            broken.append(file)
    if broken:
        said = f"{', '.join(broken)} cannot be read in {folder}"
        return (Finding("fonts", "fatal", said, _INSTALL),)
    return (Finding("fonts", "good", f"{len(FONT_FILES)} faces in {folder}"),)


def exercises() -> tuple[Finding, ...]:
    """What there is to play, and whether the player's own folders are there."""
    from trainer.score.kern import read_exercise
    from trainer.score.patterns import load_patterns
    from trainer.settings import load, settings_path

    shipped = exercises_folder()
    files = sorted(shipped.glob("*.krn"))
    try:
        drills = load_patterns(shipped / "patterns")
        for file in files[:1]:
            read_exercise(file)
    except TrainerError as error:
        return (of_error("exercises", "fatal", error, _INSTALL),)
    if not files or not drills:
        return (Finding("exercises", "fatal", f"there is none in {shipped}", _INSTALL),)
    said = f"{len(files)} pieces, {len(drills)} drills"
    own = load().exercises if settings_path().exists() else ()
    missing = [folder for folder in own if not Path(folder).expanduser().is_dir()]
    if missing:
        said += f"; there is no folder {', '.join(missing)}"
        remedy = "make it, or take it out with `mittelstimme settings set exercises`"
        return (Finding("exercises", "wrong", said, remedy),)
    return (Finding("exercises", "good", said),)
