"""Write assets/licences.md: under what everything stands that the program needs or ships.

    python .ci/licences.py        in an environment with the program; needs uv (`pip install uv`)

What each package says of itself is taken from its metadata, or from the head of its licence where
it says nothing; those that this system does not need are fetched for a look.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from importlib import metadata
from pathlib import Path
from zipfile import ZipFile

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "assets" / "licences.md"
FONTS = {
    "EBGaramond": "EB Garamond, with the digits of its upright cuts mapped to its lining figures",
    "MittelstimmeSigns": "Mittelstimme Signs, a subset of Bravura, renamed because a modified "
    "version may not carry that reserved name",
}
_MIT = (
    "Permission is hereby granted, free of charge, to any person obtaining a copy of this software"
)
HEAD = """# Licences

Mittelstimme is under the MIT licence (`LICENSE`). It is installed beside the packages below and \
carries no copy of them; each brings its licence along in its own `dist-info` folder. Those under \
the LGPL (verovio, pygame or pygame-ce, psycopg) are imported as they are and can be replaced by \
another build of theirs.

"""


def locked() -> list[tuple[str, str, str]]:
    """Name, pin and marker of all that any system needs to run the program."""
    done = subprocess.run(
        [
            *("uv", "pip", "compile", "pyproject.toml", "--quiet", "--no-header", "--no-annotate"),
            *("--universal", "--python-version", "3.11", "--extra", "postgresql"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "UV_PYTHON_DOWNLOADS": "never"},
    )
    found = []
    for line in done.stdout.splitlines():
        pin, _, marker = line.partition(" ; ")
        found.append((pin.split("==")[0], pin, marker))
    return found


def licence(about: metadata.Distribution) -> str:
    """What a package says of its licence, in a few words."""
    fields = about.metadata
    if fields["License-Expression"]:
        return fields["License-Expression"]
    said = (fields["License"] or "").strip()
    if said and len(said) < 40:
        return said
    classified = [c.split(" :: ")[-1] for c in fields.get_all("Classifier") or ()]
    named = [one for one in classified if re.search("Licen[cs]e", one)]
    if named:
        return named[0]
    for file in about.files or ():
        # source of the wording: the licence as the Open Source Initiative prints it
        if "licen" in file.name.lower():
            text = " ".join(file.read_text().split())
            return "MIT" if _MIT in text else text[:40]
    raise SystemExit(f"{fields['Name']} says nothing of its licence")


def fetched(pin: str) -> metadata.Distribution:
    """A package that is not installed here."""
    folder = Path(tempfile.mkdtemp(prefix="licences-"))
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", str(folder), pin]
    subprocess.run(command, check=True)
    (wheel,) = folder.glob("*.whl")
    with ZipFile(wheel) as archive:
        archive.extractall(folder)
    (info,) = folder.glob("*.dist-info")
    return metadata.PathDistribution(info)


def page() -> str:
    """The whole page."""
    rows = ["| package | licence |", "|---|---|"]
    for name, pin, _ in {one[0]: one for one in locked()}.values():
        try:
            about: metadata.Distribution = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            about = fetched(pin)
        rows.append(f"| {name} | {licence(about)} |")
    shipped = ["", "Shipped in `assets/fonts`, each under the SIL Open Font License 1.1:", ""]
    shipped += [f"- {words} (`{stem}-LICENSE.txt`)" for stem, words in FONTS.items()]
    return HEAD + "\n".join([*rows, *shipped]) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE.relative_to(ROOT))
