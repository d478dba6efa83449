"""Where pages, metrics and the API are served, and to whom, as the settings file says it."""

from __future__ import annotations

import ipaddress
from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator, model_validator

from portdraw.plan import patterns
from portdraw.service.settings_part import Name, Part, Secret

LOOPBACK_NAMES = ("127.0.0.1", "::1", "localhost")
FileName = Annotated[str, Field(min_length=1)]
HostName = Annotated[str, Field(pattern=patterns.HOST_NAME, max_length=253)]

NEEDS_AUTHENTICATION = (
    "is not this machine's loopback; pages are served without authentication, so only 127.0.0.1 or ::1 is allowed. "
    "To listen further, set tokens and tls"
)
NEEDS_TLS = (
    "is not this machine's loopback, and a token must not travel in clear: set tls, or plain_http: behind-proxy "
    "where a proxy in front does TLS and nobody else reaches this port"
)


class Tls(Part):
    """The certificate that is shown, its key, and whose certificates of clients are taken. Files in PEM."""

    certificate: FileName
    key: FileName
    client_ca: FileName | None = None


class TokenSettings(Part):
    """A token: where its secret is, and what it may do."""

    secret: Secret
    scopes: Annotated[tuple[Literal["read", "operate"], ...], Field(json_schema_extra={"minItems": 1})] = ("read",)

    @field_validator("scopes")
    @classmethod
    def _some(cls, value: tuple[Literal["read", "operate"], ...]) -> tuple[Literal["read", "operate"], ...]:
        # not min_length: that would count what is misspelt as not there, and tell of it twice
        if not value:
            raise ValueError("names no scope: read, operate")
        return value


class Listen(Part):
    """Where pages, metrics and the API are served. Loopback by default; further only with authentication."""

    tls: Tls | None = None
    tokens: dict[Name, TokenSettings] = Field(default={})
    plain_http: Literal["loopback-only", "behind-proxy"] = "loopback-only"
    names: tuple[HostName, ...] = ()
    # after what it is judged by
    host: Annotated[str, Field(validate_default=True)] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535)] = 8437

    @field_validator("host")
    @classmethod
    def _reach(cls, value: str, info: ValidationInfo) -> str:
        if value in LOOPBACK_NAMES or not {"tls", "tokens", "plain_http"} <= info.data.keys():
            return value  # what is missing there has a fault of its own
        tls: Tls | None = info.data["tls"]
        if not info.data["tokens"] and (tls is None or tls.client_ca is None):
            raise ValueError(NEEDS_AUTHENTICATION)
        if tls is None and info.data["plain_http"] != "behind-proxy":
            raise ValueError(NEEDS_TLS)
        try:
            ipaddress.ip_address(value)
        except ValueError:
            raise ValueError("must be an address of this machine, such as 10.20.0.2, or 0.0.0.0 for all") from None
        return value

    @model_validator(mode="after")
    def _one_way(self) -> Listen:
        if self.tls is not None and self.plain_http == "behind-proxy":
            raise ValueError(
                "plain_http: behind-proxy and tls exclude each other: with tls nothing is served in clear"
            )
        return self

    @property
    def url(self) -> str:
        """The address at which this machine reaches the agent."""
        host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(self.host, self.host)  # noqa: S104 - compared, not bound
        return f"{'http' if self.tls is None else 'https'}://{f'[{host}]' if ':' in host else host}:{self.port}"
