"""Where does the program install without a compiler? Asks the registry, prints a table.

    python .ci/wheels.py [EXTRA]        needs uv (`pip install uv`), installs nothing

For every platform and Python, everything the program needs is resolved with ready wheels only.
Where that fails, each requirement is tried alone and those without a wheel are named. Exit status 1
then, unless the system runs the Python of another for which all is to be had.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

PROJECT = Path(__file__).parent.parent / "pyproject.toml"
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
# what a table calls it -> what the resolver calls it (glibc 2.28: Debian 10, RHEL 8, Ubuntu 20.04)
PLATFORMS = {
    "Linux x86-64": "x86_64-manylinux_2_28",
    "Linux arm64": "aarch64-manylinux_2_28",
    "macOS x86-64": "x86_64-apple-darwin",
    "macOS arm64": "aarch64-apple-darwin",
    "Windows x86-64": "x86_64-pc-windows-msvc",
    "Windows arm64": "aarch64-pc-windows-msvc",
}
# it runs programs of the other as they are; the page cannot be engraved without verovio
EMULATES = {"Windows arm64": "Windows x86-64"}


def requirements(extra: str | None) -> list[str]:
    """What stands in pyproject.toml."""
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    found: list[str] = project["dependencies"]
    return found + (project["optional-dependencies"][extra] if extra else [])


def resolved(wanted: list[str], platform: str, python: str) -> int | None:
    """How many packages that makes, all with wheels; None where one has none."""
    done = subprocess.run(
        [
            *("uv", "pip", "compile", "-", "--quiet", "--no-header", "--no-annotate"),
            *("--only-binary", ":all:", "--python-platform", platform),
            *("--python-version", python),
        ],
        input="\n".join(wanted),
        capture_output=True,
        text=True,
        env={**os.environ, "UV_PYTHON_DOWNLOADS": "never"},
    )
    if done.returncode == 0:
        return sum("==" in line for line in done.stdout.splitlines())
    if "No solution found" not in done.stderr:
        raise SystemExit(f"uv: {done.stderr.strip()}")
    return None


def cell(wanted: list[str], platform: str, python: str) -> tuple[bool, str]:
    """Whether all is to be had, and what stands in the table."""
    count = resolved(wanted, platform, python)
    if count is not None:
        return True, f"{count} packages"
    missing = [one for one in wanted if resolved([one], platform, python) is None]
    names = [one.split(";")[0].split(">")[0].split("<")[0].strip() for one in missing]
    return False, "no wheel: " + (", ".join(names) or "a combination")


def main() -> None:
    wanted = requirements(sys.argv[1] if len(sys.argv) > 1 else None)
    places = [(name, python) for name in PLATFORMS for python in PYTHONS]
    with ThreadPoolExecutor(4) as pool:
        cells = dict(
            zip(
                places, pool.map(lambda p: cell(wanted, PLATFORMS[p[0]], p[1]), places), strict=True
            )
        )
    wide = max(len(text) for _, text in cells.values()) + 2
    print(f"{'':16}" + "".join(f"{f'Python {python}':{wide}}" for python in PYTHONS))
    for name in PLATFORMS:
        print(f"{name:16}" + "".join(f"{cells[name, python][1]:{wide}}" for python in PYTHONS))
    lacking = {place for place, (whole, _) in cells.items() if not whole}
    print(f"{len(cells) - len(lacking)} of {len(cells)} install without a compiler")
    for name in dict.fromkeys(name for name, _ in lacking if name in EMULATES):
        print(f"{name}: install the Python of {EMULATES[name]}, which runs there")
    helped = {
        (name, py) for name, py in lacking if (EMULATES.get(name), py) in cells.keys() - lacking
    }
    raise SystemExit(1 if lacking - helped else 0)


if __name__ == "__main__":
    main()
