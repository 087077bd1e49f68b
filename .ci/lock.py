"""Write the lock that CI installs by: one version of everything, for every Python and system.

    python .ci/lock.py        needs uv (`pip install uv`), installs nothing

People install by the bounds in pyproject.toml; this says what the program was last tested with.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

ROOT = Path(__file__).parent.parent
LOCK = ROOT / ".ci" / "constraints.txt"
HEAD = "# Written by `python .ci/lock.py`; used by .ci/run as pip's constraints.\n"


def main() -> None:
    done = subprocess.run(
        [
            *("uv", "pip", "compile", "pyproject.toml", "--quiet", "--no-header", "--no-annotate"),
            *("--universal", "--python-version", "3.11", "--all-extras"),
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        env={**os.environ, "UV_PYTHON_DOWNLOADS": "never"},
    )
    LOCK.write_text(HEAD + done.stdout, encoding="utf-8")
    print(f"{LOCK.name}: {done.stdout.count('==')} pins")


if __name__ == "__main__":
    main()
