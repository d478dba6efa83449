"""Who is told of alarms, as the settings file says it."""

from __future__ import annotations

from urllib.parse import urlsplit

from pydantic import field_validator

from portdraw.reporting.webhook import why_refused
from portdraw.service.settings_part import Part, Secret


class Receiver(Part):
    """Who is told of alarms."""

    webhook: str
    secret: Secret | None = None

    @field_validator("webhook")
    @classmethod
    def _url(cls, value: str) -> str:
        refused = why_refused(value, emulated=False)
        if refused:
            raise ValueError(refused)
        parts = urlsplit(value)
        if parts.username or parts.password:
            raise ValueError("must hold no user name or password: use `secret`")
        return value
