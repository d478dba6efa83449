"""How agents of one kind are asked, as the settings file says it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from portdraw.service.settings_part import Part, Secret


class AccessSettings(Part):
    """How agents of one kind are asked."""

    version: Literal[2, 3]
    community: Secret | None = None
    user: Annotated[str, Field(min_length=1, max_length=32)] | None = None
    auth: Literal["none", "md5", "sha1", "sha224", "sha256", "sha384", "sha512"] = "sha256"
    auth_secret: Secret | None = None
    privacy: Literal[
        "none", "des", "3des", "aes128", "aes192", "aes256", "aes192-blumenthal", "aes256-blumenthal"
    ] = "aes128"
    privacy_secret: Secret | None = None

    @field_validator("version", mode="before")
    @classmethod
    def _version(cls, value: object) -> object:
        return {"2": 2, "2c": 2, "2C": 2, "3": 3}.get(str(value), value)

    @model_validator(mode="after")
    def _whole(self) -> AccessSettings:
        if self.version == 2:
            if self.community is None:
                raise ValueError("version 2 needs a community: {file: NAME} or {env: NAME}")
            return self
        if self.user is None:
            raise ValueError("version 3 needs a user")
        if self.auth != "none" and self.auth_secret is None:
            raise ValueError("auth_secret is missing: {file: NAME} or {env: NAME}, or auth: none")
        if self.privacy != "none" and self.privacy_secret is None:
            raise ValueError("privacy_secret is missing: {file: NAME} or {env: NAME}, or privacy: none")
        if self.auth == "none" and self.privacy != "none":
            raise ValueError("privacy needs authentication: SNMPv3 has no level with privacy alone")
        return self
