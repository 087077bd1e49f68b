"""How much room the program takes: installs it into an empty environment, prints a table.

    python .ci/size.py [PYTHON [WHAT [WHERE]]]

PYTHON is the interpreter to try (else this one), WHAT to install (else this checkout), WHERE the
environment is made and kept (else it is removed again). Everything counts that then lies in
site-packages, compiled files included; the tools that Python puts into every environment (pip,
setuptools) are told apart. Also printed: how long installing and the help page took.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from importlib.metadata import PathDistribution
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).parent.parent
LIMIT = 250  # MB
TOOLS = {"pip", "setuptools", "wheel"}


def sizes(packages: Path) -> dict[str, int]:
    """Bytes of every distribution, by what its own record says is installed."""
    found: dict[str, int] = {}
    for info in packages.glob("*.dist-info"):
        distribution = PathDistribution(info)
        files = [Path(str(distribution.locate_file(file))) for file in distribution.files or ()]
        found[distribution.metadata["Name"]] = sum(f.stat().st_size for f in files if f.is_file())
    return found


def occupied(packages: Path) -> int:
    """Bytes of all files in whole blocks of the disk, as `du` counts."""
    return sum(512 * file.stat().st_blocks for file in packages.rglob("*"))


def help_page(program: Path) -> float:
    """Seconds until `--help` has printed: the median of seven."""
    times = []
    for _ in range(7):
        begun = perf_counter()
        subprocess.run([program, "--help"], check=True, stdout=subprocess.DEVNULL)
        times.append(perf_counter() - begun)
    return statistics.median(times)


def measure(python: str, what: Path, place: Path) -> None:
    """Install and print; exits with 1 where it is over the limit."""
    subprocess.run([python, "-m", "venv", place], check=True)
    begun = perf_counter()
    subprocess.run([place / "bin" / "pip", "install", "-q", what], check=True)
    installing = perf_counter() - begun
    (packages,) = place.glob("lib/python*/site-packages")
    table = sizes(packages)
    waiting = help_page(place / "bin" / "mittelstimme")
    print(subprocess.check_output([python, "--version"], text=True).strip())
    for name, size in sorted(table.items(), key=lambda one: -one[1]):
        note = "  (comes with Python)" if name.lower() in TOOLS else ""
        print(f"{size / 1e6:8.1f} MB  {name}{note}")
    ours = sum(size for name, size in table.items() if name.lower() not in TOOLS)
    print(f"{ours / 1e6:8.1f} MB  the program and what it needs (limit {LIMIT})")
    print(f"{sum(table.values()) / 1e6:8.1f} MB  with pip and setuptools")
    print(f"{occupied(packages) / 2**20:8.1f} MiB of disk in whole blocks, all together")
    print(f"installed in {installing:.0f} s; --help in {waiting:.2f} s (median of 7)")
    if ours > LIMIT * 1e6:
        raise SystemExit(1)


def main() -> None:
    python, what, where = (*sys.argv[1:], *(None, None, None))[:3]
    with tempfile.TemporaryDirectory(prefix="mittelstimme-size-") as folder:
        place = Path(where) if where else Path(folder) / ".venv"
        measure(python or sys.executable, Path(what) if what else ROOT, place)


if __name__ == "__main__":
    main()
