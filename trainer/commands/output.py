"""How commands print what they report."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def print_json(value: Mapping[str, Any]) -> None:
    """One object on stdout, readable by people too; `version` comes first."""
    print(json.dumps(value, ensure_ascii=False, indent=1))
