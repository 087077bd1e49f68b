"""Runs every script of this folder at full length, one after another: `python -m tests.faults`.

Name some to run only those: `python -m tests.faults frames sound`.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent


def scripts() -> list[str]:
    """The scripts there are."""
    return sorted(
        path.stem
        for path in HERE.glob("*.py")
        if not path.stem.startswith(("_", "test_")) and "\ndef main(" in path.read_text("utf-8")
    )


def main(names: list[str]) -> int:
    """0 if every one ended well."""
    known = scripts()
    unknown = [name for name in names if name not in known]
    if unknown:
        print(f"no script {unknown[0]!r}; there are {', '.join(known)}", file=sys.stderr)
        return 2
    failed = []
    for name in names or known:
        print(f"\n== {name}", flush=True)
        began = time.monotonic()
        done = subprocess.run([sys.executable, "-m", f"tests.faults.{name}"], cwd=HERE.parents[1])
        print(f"({time.monotonic() - began:.0f} s, status {done.returncode})", flush=True)
        if done.returncode:
            failed.append(name)
    print(f"\nfailed: {', '.join(failed) or 'none'}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
