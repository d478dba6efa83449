"""Who is told of alarms, as the settings file says it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from portdraw.plan import patterns
from portdraw.reporting.notify.receiver_address import HTTP, SYSLOG, why_refused
from portdraw.service.settings_part import Part, Secret

Kind = Literal["webhook", "syslog", "alertmanager"]
KINDS: tuple[Kind, ...] = ("webhook", "syslog", "alertmanager")
SCHEMES: dict[Kind, tuple[str, ...]] = {"webhook": HTTP, "syslog": SYSLOG, "alertmanager": HTTP}
# which keys go with which kind
KEYS_OF: dict[str, Kind] = {
    "secret": "webhook",
    "facility": "syslog",
    "token": "alertmanager",
    "user": "alertmanager",
    "password": "alertmanager",
}
WITH_TLS = ("https://", "tls://")


class Receiver(Part):
    """Who is told of alarms: a webhook, a syslog receiver or an Alertmanager, exactly one of them."""

    webhook: str | None = None
    syslog: str | None = None
    alertmanager: str | None = None
    secret: Secret | None = None
    facility: (
        Literal["user", "daemon", "local0", "local1", "local2", "local3", "local4", "local5", "local6", "local7"]
        | None
    ) = None
    token: Secret | None = None
    user: Annotated[str, Field(min_length=1, max_length=200, pattern=patterns.BASIC_USER)] | None = None
    password: Secret | None = None
    ca: Annotated[str, Field(min_length=1)] | None = None

    @property
    def kind(self) -> Kind:
        """Which of the three it is."""
        return next(kind for kind in KINDS if getattr(self, kind) is not None)

    @property
    def url(self) -> str:
        """Its address."""
        url: str = getattr(self, self.kind)
        return url

    @field_validator("webhook", "alertmanager")
    @classmethod
    def _http(cls, value: str | None) -> str | None:
        return _address(value, HTTP)

    @field_validator("syslog")
    @classmethod
    def _syslog(cls, value: str | None) -> str | None:
        return _address(value, SYSLOG)

    @model_validator(mode="after")
    def _whole(self) -> Receiver:
        given = [kind for kind in KINDS if getattr(self, kind) is not None]
        if len(given) != 1:
            told = f"this one has {' and '.join(given)}" if given else "this one has none"
            raise ValueError(f"a receiver is exactly one of webhook, syslog and alertmanager; {told}")
        for key, kind in KEYS_OF.items():
            if getattr(self, key) is not None and kind != self.kind:
                raise ValueError(f"{key} goes with {kind} only")
        if (self.user is None) != (self.password is None):
            raise ValueError("user and password go together")
        if self.token is not None and self.user is not None:
            raise ValueError("has both a token and a user; an Alertmanager is asked with one of them")
        if self.ca is not None and not self.url.lower().startswith(WITH_TLS):
            raise ValueError("ca goes with https:// and tls:// only: nothing else shows a certificate")
        return self


def _address(value: str | None, schemes: tuple[str, ...]) -> str | None:
    refused = "" if value is None else why_refused(value, emulated=False, schemes=schemes)
    if refused:
        raise ValueError(refused)
    return value
