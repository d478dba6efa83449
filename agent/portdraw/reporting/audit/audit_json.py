"""The audit as JSON, for machines. Unknown is null; times are ISO 8601 with the site's offset."""

from __future__ import annotations

import dataclasses
import json
from datetime import date
from enum import Enum
from typing import Any

from portdraw.reporting.audit.audit import Audit
from portdraw.reporting.wording import iso

FORMAT = 1


def audit_document(audit: Audit) -> dict[str, Any]:
    """Return the audit as plain dictionaries and lists. Names of fields end in their unit."""
    document: dict[str, Any] = {"format": FORMAT, "kind": "portdraw audit", **_plain(audit, audit.timezone)}
    document["findings"] = [
        {"where": where, "weight": finding.weight.value, "sentence": finding.sentence}
        for where, finding in audit.findings()
    ]
    return document


def audit_json(audit: Audit) -> str:
    """Return the document as text."""
    return json.dumps(audit_document(audit), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


_TIMES = frozenset({"made_s", "from_s", "to_s", "max_s", "first_reading_s", "last_reading_s", "last_seen_s"})


def _plain(value: object, timezone: str) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        found: dict[str, Any] = {}
        for field in dataclasses.fields(value):
            content = getattr(value, field.name)
            if field.name in _TIMES:
                found[field.name.removesuffix("_s")] = iso(content, timezone)
            else:
                found[field.name] = _plain(content, timezone)
        return found
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        return [_plain(item, timezone) for item in value]
    if isinstance(value, float):
        return round(value, 3)
    return value
