"""Private columns of watts that one site adds, as the settings file says it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from portdraw.reading.varbind import oid_text, parse_oid
from portdraw.service.settings_part import Name, Part


class PrivateColumn(Part):
    """A per-port column of watts that mibs/ lacks.

    It is read where neither IEEE 802.3.1 nor RFC 7460 gives the watts, and before the private columns of mibs/.
    `system_object_id` is the beginning of the sysObjectID of the switches that are asked; without it all are.
    `basis`: granted, where the column tells what was allocated and not what flows.
    """

    name: Name
    oid: str
    index: Literal["group-port", "port", "port-from-zero", "if-index", "bridge-port", "entity"]
    unit: Literal["W", "0.1 W", "0.01 W", "mW", "W as text"]
    basis: Literal["measured", "granted"] = "measured"
    system_object_id: str | None = None
    source: Annotated[str, Field(min_length=5, max_length=400)]

    @field_validator("oid", "system_object_id")
    @classmethod
    def _is_oid(cls, value: str | None) -> str | None:
        return None if value is None else oid_text(parse_oid(value))
