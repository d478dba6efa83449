"""The agent's settings file: which site, how to read, where to keep, whom to tell. No secret stands in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from portdraw.plan.yaml_text import load_with_tree, read_text
from portdraw.plan.yaml_tree import YamlTree, show_path
from portdraw.reporting.webhook import why_refused

LOOPBACK_NAMES = ("127.0.0.1", "::1", "localhost")

Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=80)]


class Part(BaseModel):
    """Base of every part of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, hide_input_in_errors=True)


class Secret(Part):
    """Where a secret is to be found: a file (relative to the settings file) or an environment variable."""

    file: str | None = None
    env: Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")] | None = None

    @model_validator(mode="before")
    @classmethod
    def _no_literal(cls, value: object) -> object:
        if not isinstance(value, dict):
            raise ValueError(
                "a secret never stands in this file: write {file: NAME} or {env: NAME}, "
                "and change the secret that stood here"
            )
        return value

    @model_validator(mode="after")
    def _one(self) -> Secret:
        if (self.file is None) == (self.env is None):
            raise ValueError("a secret is either {file: NAME} or {env: NAME}")
        return self


class HistorySettings(Part):
    """Where the history is kept, relative to the settings file."""

    folder: str = "history"
    hot_days: Annotated[int, Field(ge=1, le=400)] = 21


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


class Poll(Part):
    """How often and how patiently the units are read, in seconds of site time (the deadline in wall time)."""

    every_s: Annotated[float, Field(ge=1, le=3600)] = 30
    slow_every_s: Annotated[float, Field(ge=1, le=86_400)] = 300
    deadline_s: Annotated[float, Field(ge=0.5, le=120)] = 8
    in_flight: Annotated[int, Field(ge=1, le=256)] = 16


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


class PrivateColumn(Part):
    """A private per-port column of this site: accepted here; read once the site-column reader is there."""

    name: Name
    oid: Annotated[str, Field(pattern=r"^[0-9]+(\.[0-9]+)+$")]
    index: Literal["group-port", "port", "if-index"]
    unit: Literal["W", "0.1 W", "mW"]
    source: Annotated[str, Field(min_length=5)]


class Settings(Part):
    """The whole settings file."""

    format: Literal[1]
    site: str
    history: HistorySettings = HistorySettings()
    listen: Listen = Listen()
    poll: Poll = Poll()
    access: dict[Name, AccessSettings] = {}
    receivers: dict[Name, Receiver] = {}
    columns: tuple[PrivateColumn, ...] = ()

    @field_validator("format", mode="before")
    @classmethod
    def _format(cls, value: object) -> object:
        return 1 if value == "1" else value


class SettingsError(Exception):
    """The settings can't be used; `str()` is one clear sentence without any secret."""


class LoadedSettings:
    """Settings with the file they came from; paths in them are relative to that file."""

    def __init__(self, path: Path, settings: Settings, tree: YamlTree) -> None:
        self.path = path
        self.settings = settings
        self._tree = tree

    def where(self, *parts: str) -> str:
        """Return the place of a part as errors name it: "settings.yaml:9:20: access.terminal-v3.auth_secret"."""
        line, column = self._tree.mark(parts)
        return f"{self.path}:{line}:{column}: {show_path(parts)}"

    @property
    def site_path(self) -> Path:
        """The site file."""
        return self._beside(self.settings.site)

    @property
    def history_folder(self) -> Path:
        """The history folder."""
        return self._beside(self.settings.history.folder)

    def _beside(self, name: str) -> Path:
        return (self.path.parent / name).resolve() if not Path(name).is_absolute() else Path(name)


def load_settings(path: Path) -> LoadedSettings:
    """Read a settings file. Raises PlanError with place and sentence for everything that is wrong."""
    return LoadedSettings(path, *load_with_tree(read_text(path), str(path), Settings))
