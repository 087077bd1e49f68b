"""What is handed out: built as it is handed out, opened, compared with the tree, run."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
from email.parser import HeaderParser
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]
SHIPPED = {"trainer": "trainer", "exercises": "trainer/shipped/exercises"}
SHIPPED["assets"] = "trainer/shipped/assets"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a source distribution, and a wheel that was made from it."""
    folder = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, ROOT],
        check=True,
        capture_output=True,
        timeout=300,
    )
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    (found,) = built.glob("*.whl")
    return found


def files(folder: str) -> set[str]:
    """Everything below a folder of the tree that belongs to the program."""
    found = (ROOT / folder).rglob("*")
    return {
        path.relative_to(ROOT / folder).as_posix()
        for path in found
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_wheel_made_from_the_source_distribution_has_every_file(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        names = {name for name in archive.namelist() if ".dist-info/" not in name}
        wanted = {
            f"{place}/{file}": ROOT / folder / file
            for folder, place in SHIPPED.items()
            for file in files(folder)
        }
        assert names == set(wanted)
        changed = [name for name, path in wanted.items() if archive.read(name) != path.read_bytes()]
    assert not changed


def test_the_source_distribution_has_what_it_takes_to_test_and_build_it(built: Path) -> None:
    (source,) = built.glob("*.tar.gz")
    with tarfile.open(source) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".ci/run"} <= names
    for folder in (*SHIPPED, "tests"):
        assert {f"{folder}/{file}" for file in files(folder)} <= names


def test_the_licences_are_in_the_wheel(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        names = archive.namelist()
        (place,) = [name for name in names if name.endswith(".dist-info/METADATA")]
        about = HeaderParser().parsestr(archive.read(place).decode())
    listed = about.get_all("License-File") or []
    assert {"LICENSE", "assets/licences.md"} <= set(listed)
    assert sum(file.startswith("assets/fonts/") for file in listed) == 2
    info = place.removesuffix("METADATA")
    assert {f"{info}licenses/{file}" for file in listed} <= set(names)
    assert about["License-Expression"] == "MIT"


def test_the_wheel_runs_away_from_the_tree(wheel: Path, tmp_path: Path) -> None:
    """Unpacked where no checkout is; the packages it needs are those of this environment."""
    with ZipFile(wheel) as archive:
        archive.extractall(tmp_path / "installed")
    place = str(tmp_path / "installed")

    def run(*arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": place},
            timeout=120,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    where = run("-c", "import trainer, trainer.resources as r; print(r.exercises_folder())")
    assert where.startswith(place)
    assert "evening-rain" in run("-m", "trainer", "exercises", "list", "rain")
    run("-m", "trainer", "exercises", "print", "evening-rain", "-o", "rain.pdf")
    assert (tmp_path / "rain.pdf").read_bytes().startswith(b"%PDF")
    demo = ("practice", "--input", "demo", "--view", "none", "--quick", "--json")
    played = run("-m", "trainer", *demo)
    assert '"complete"' in played
