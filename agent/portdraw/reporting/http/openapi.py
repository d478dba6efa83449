"""The description of the API (OpenAPI 3.1), written by hand in openapi.yaml."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import yaml


@cache
def openapi() -> dict[str, Any]:
    """Return the description."""
    text = (Path(__file__).parent / "openapi.yaml").read_text(encoding="utf-8")
    found: dict[str, Any] = yaml.safe_load(text)
    return found
