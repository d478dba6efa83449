"""Answers that are made in several places."""

from __future__ import annotations

import json
from collections.abc import Mapping

from starlette.responses import Response

from portdraw.reporting.site_json import Json

MOST_INDENTED = 50
NO_ASSESSMENT = "no cycle has ended yet"


def json_answer(value: Mapping[str, Json], status: int = 200) -> Response:
    """Return JSON to be read by people too. Raises ValueError for a figure that is not finite."""
    return Response(json_text(value) + "\n", status, media_type="application/json")


def json_text(value: Mapping[str, Json]) -> str:
    """Return indented JSON; of a list of very many things each stands in a line of its own.

    Indented JSON is written by the interpreter step by step: a site of a thousand units would take many seconds.
    """
    lines = []
    for name, part in value.items():
        if isinstance(part, list) and len(part) > MOST_INDENTED:
            items = ",\n  ".join(json.dumps(item, allow_nan=False) for item in part)
            lines.append(f"{json.dumps(name)}: [\n  {items}\n ]")
        else:
            text = json.dumps(part, allow_nan=False, indent=1).replace("\n", "\n ")
            lines.append(f"{json.dumps(name)}: {text}")
    return "{\n " + ",\n ".join(lines) + "\n}" if lines else "{}"
