"""Where pages, metrics and the API are served, as the settings file says it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from portdraw.service.settings_part import Part

LOOPBACK_NAMES = ("127.0.0.1", "::1", "localhost")


class Listen(Part):
    """Where pages, metrics and the API are served. Loopback by default."""

    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535)] = 8437

    @field_validator("host")
    @classmethod
    def _loopback(cls, value: str) -> str:
        if value not in LOOPBACK_NAMES:
            raise ValueError(
                "is not this machine's loopback; pages are served without authentication, so only "
                "127.0.0.1 or ::1 is allowed"
            )
        return value
