"""Where traps and informs are heard, and by which access, as the settings file says it."""

from __future__ import annotations

import ipaddress
from typing import Annotated

from pydantic import Field, field_validator

from portdraw.service.listen_settings import LOOPBACK_NAMES
from portdraw.service.settings_part import Name, Part


class NotificationSettings(Part):
    """Where notifications are heard; without this group nothing is. Each is by one of the named accesses.

    A community of version 2c counts for version 1 too. Port 162 (RFC 3417) needs a privilege on most machines.
    """

    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535)] = 162
    access: Annotated[tuple[Name, ...], Field(json_schema_extra={"minItems": 1})]

    @field_validator("host")
    @classmethod
    def _is_address(cls, value: str) -> str:
        if value not in LOOPBACK_NAMES:
            try:
                ipaddress.ip_address(value)
            except ValueError:
                raise ValueError(
                    "must be an address of this machine, such as 10.20.0.2, or 0.0.0.0 for all"
                ) from None
        return value

    @field_validator("access")
    @classmethod
    def _some(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not value:
            raise ValueError("names no access: by which community or user may notifications come?")
        return value
