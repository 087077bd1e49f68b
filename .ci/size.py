"""How much room the program takes: installs it into an empty environment, prints a table.

    python .ci/size.py [PYTHON]         PYTHON: the interpreter to try, else this one

Everything counts that then lies in site-packages, compiled files included; the tools that Python
puts into every environment (pip, setuptools) are told apart. Also printed: how long installing took
with a warm cache, and the help page.
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
        name = distribution.metadata["Name"]
        found[name] = sum(file.stat().st_size for file in files if file.is_file())
    return found


def occupied(packages: Path) -> int:
    """Bytes of all files, whole blocks of the disk, as `du` counts."""
    return sum(512 * file.stat().st_blocks for file in packages.rglob("*"))


def main() -> None:
    python = sys.argv[1] if len(sys.argv) > 1 else sys.executable
    with tempfile.TemporaryDirectory(prefix="mittelstimme-size-") as folder:
        place = Path(folder) / ".venv"
        subprocess.run([python, "-m", "venv", place], check=True)
        begun = perf_counter()
        subprocess.run([place / "bin" / "pip", "install", "-q", ROOT], check=True)
        installing = perf_counter() - begun
        (packages,) = place.glob("lib/python*/site-packages")
        table = sizes(packages)
        program = place / "bin" / "mittelstimme"
        times = []
        for _ in range(7):
            begun = perf_counter()
            subprocess.run([program, "--help"], check=True, stdout=subprocess.DEVNULL)
            times.append(perf_counter() - begun)
        blocks = occupied(packages)
    version = subprocess.check_output([python, "--version"], text=True).strip()
    print(version)
    for name, size in sorted(table.items(), key=lambda one: -one[1]):
        note = "  (comes with Python)" if name.lower() in TOOLS else ""
        print(f"{size / 1e6:8.1f} MB  {name}{note}")
    ours = sum(size for name, size in table.items() if name.lower() not in TOOLS)
    tools = sum(size for name, size in table.items() if name.lower() in TOOLS)
    print(f"{ours / 1e6:8.1f} MB  the program and what it needs (limit {LIMIT})")
    print(f"{(ours + tools) / 1e6:8.1f} MB  with pip and setuptools")
    print(f"{blocks / 2**20:8.1f} MiB of disk, in whole blocks, all together")
    print(f"installed in {installing:.0f} s; --help in {statistics.median(times):.2f} s (median of 7)")
    raise SystemExit(0 if ours <= LIMIT * 1e6 else 1)


if __name__ == "__main__":
    main()
