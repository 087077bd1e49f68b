"""Build the program for people who have no Python: one folder, started by one file in it.

    python .ci/one_folder.py [WHERE]      in an environment with the program; needs PyInstaller

For the system it runs on; a Windows program is built on Windows, a Mac's on a Mac. The licences of
everything that is in it go along.
"""

from __future__ import annotations

import re
import sys
import tempfile
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).parent.parent

# All is started as Python would start it: the processes that the program starts for itself too.
START = """
import sys

if sys.argv[1:3] == ["-P", "-c"]:
    code, sys.argv = sys.argv[3], ["-c", *sys.argv[4:]]
    exec(code)
else:
    from trainer.commands import main

    main()
"""
# loaded by name while it runs, so that nothing shows they are needed
BY_NAME = ("trainer", "mido.backends", "alembic.ddl", "sqlalchemy.dialects.sqlite")
WITH_FILES = ("trainer", "verovio", "alembic")
NEVER = ("tkinter", "pytest", "setuptools", "pygame.tests", "pygame.examples", "numpy.f2py")


def build(where: Path) -> Path:
    """The program itself, in a folder of what it needs."""
    import PyInstaller.__main__

    with tempfile.TemporaryDirectory() as name:
        start = Path(name) / "mittelstimme.py"
        start.write_text(START, encoding="utf-8")
        PyInstaller.__main__.run(
            [
                str(start),
                *("--onedir", "--noconfirm", "--log-level", "WARN"),
                *("--distpath", str(where), "--workpath", name, "--specpath", name),
                *(f"--collect-submodules={module}" for module in BY_NAME),
                *(f"--collect-data={module}" for module in WITH_FILES),
                *(f"--exclude-module={module}" for module in NEVER),
                *(f"--copy-metadata={distribution}" for distribution in _licensed()),
            ]
        )
    return where / "mittelstimme" / f"mittelstimme{'.exe' if sys.platform == 'win32' else ''}"


def _licensed() -> list[str]:
    """The program and what is installed of all on the page of licences: their versions are asked
    for while it runs, and their licences lie beside them."""
    page = (ROOT / "assets" / "licences.md").read_text(encoding="utf-8")
    found = []
    for name in ["mittelstimme", *re.findall(r"^\| ([a-z0-9-]+) \| ", page, re.MULTILINE)]:
        try:
            found.append(metadata.metadata(name)["Name"])
        except metadata.PackageNotFoundError:
            continue
    return found


def main() -> None:
    program = build(Path(sys.argv[1] if len(sys.argv) > 1 else "dist"))
    size = sum(file.stat().st_size for file in program.parent.rglob("*") if file.is_file())
    print(f"{program}: {size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
