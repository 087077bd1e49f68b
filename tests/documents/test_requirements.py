"""What the program needs: bounds, the lock of CI, licences. Read with `packaging`, as pip does."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))[
    "project"
]
LOCK = ROOT / ".ci" / "constraints.txt"
LICENCES = ROOT / "assets" / "licences.md"
SYSTEMS = {"linux": "posix", "darwin": "posix", "win32": "nt"}
MACHINES = {
    f"{system} {python}": {
        "python_version": python,
        "python_full_version": f"{python}.1",
        "sys_platform": system,
        "os_name": os_name,
        "platform_system": {"linux": "Linux", "darwin": "Darwin", "win32": "Windows"}[system],
        "platform_python_implementation": "CPython",
        "implementation_name": "cpython",
        "extra": "",
    }
    for (system, os_name), python in product(SYSTEMS.items(), ("3.11", "3.12", "3.13", "3.14"))
}


def requirements() -> list[Requirement]:
    extras = PROJECT["optional-dependencies"].values()
    return [Requirement(line) for line in sum(extras, PROJECT["dependencies"])]


def applies(marker: Marker | None, machine: dict[str, str]) -> bool:
    return marker is None or marker.evaluate(machine)


def pins(machine: dict[str, str]) -> dict[str, str]:
    """Name and version of what the lock says for a machine."""
    lines = LOCK.read_text(encoding="utf-8").splitlines()
    found: dict[str, str] = {}
    for line in lines:
        if line.startswith("#"):
            continue
        one = Requirement(line)
        (exact,) = one.specifier
        assert exact.operator == "==" and "*" not in exact.version, line
        if applies(one.marker, machine):
            name = canonicalize_name(one.name)
            assert name not in found, f"{name} twice"
            found[name] = exact.version
    return found


def test_everything_is_bounded_below_and_above() -> None:
    for one in requirements():
        operators = {part.operator for part in one.specifier}
        assert operators & {">=", "~=", "=="} and operators & {"<", "<=", "~=", "=="}, str(one)


@pytest.mark.parametrize("machine", MACHINES)
def test_the_lock_has_a_version_within_bounds_for_every_machine(machine: str) -> None:
    locked = pins(MACHINES[machine])
    for one in requirements():
        if applies(one.marker, MACHINES[machine]):
            assert one.specifier.contains(locked[canonicalize_name(one.name)]), str(one)


@pytest.mark.parametrize("machine", MACHINES)
def test_exactly_one_library_of_that_name_opens_the_window(machine: str) -> None:
    wanted = {one.name for one in requirements() if applies(one.marker, MACHINES[machine])}
    assert len(wanted & {"pygame", "pygame-ce"}) == 1


def needed(name: str, extras: tuple[str, ...] = ()) -> set[str]:
    """What is installed of all that a distribution needs, itself left out."""
    found: set[str] = set()
    waiting = [(name, extras)]
    while waiting:
        now, asked = waiting.pop()
        for line in metadata.requires(now) or ():
            one = Requirement(line)
            wanted = any(applies(one.marker, {"extra": extra}) for extra in ("", *asked))
            key = canonicalize_name(one.name)
            if wanted and key not in found:
                found.add(key)
                waiting.append((one.name, tuple(one.extras)))
    return found


def licences() -> dict[str, str]:
    page = LICENCES.read_text(encoding="utf-8")
    return dict(re.findall(r"^\| ([a-z0-9-]+) \| (.+) \|$", page, re.MULTILINE))


def test_the_licence_of_everything_that_is_needed_is_listed() -> None:
    listed = licences()
    assert needed("mittelstimme", ("postgresql",)) <= set(listed)
    for one in map(Requirement, PROJECT["dependencies"]):  # those of other machines too
        assert canonicalize_name(one.name) in listed


def test_the_licences_are_those_the_packages_tell_of_themselves() -> None:
    """Held to the metadata that is installed, which any other tool reads as well."""
    told = 0
    for name, licence in licences().items():
        try:
            about = metadata.metadata(name)
        except metadata.PackageNotFoundError:
            continue
        fields = [about["License-Expression"], about["License"]]
        fields += [line.split(" :: ")[-1] for line in about.get_all("Classifier") or ()]
        said = [field for field in fields if field]
        if any("LGPL" in field or "Lesser" in field for field in said):
            assert "LGPL" in licence, name
        if about["License-Expression"] or about["License"] == licence or licence in said:
            assert licence in said, name
            told += 1
    assert told > 20


def test_every_font_has_its_licence_beside_it_and_on_the_page() -> None:
    page = LICENCES.read_text(encoding="utf-8")
    fonts = {*(ROOT / "assets" / "fonts").glob("*.[to]tf"), *(ROOT / "assets").rglob("*.woff2")}
    assert len(fonts) > 5
    stems = {re.match(r"[A-Za-z]+", font.name)[0] for font in fonts}  # type: ignore[index]
    for stem in stems:
        assert f"`{stem}-LICENSE.txt`" in page
        text = (ROOT / "assets" / "fonts" / f"{stem}-LICENSE.txt").read_text(encoding="utf-8")
        assert "SIL OPEN FONT LICENSE Version 1.1" in text
