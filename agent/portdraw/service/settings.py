"""The agent's settings file: which site, how to read, where to keep, whom to tell. No secret stands in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator

from portdraw.plan.yaml_text import load_with_tree, read_text
from portdraw.plan.yaml_tree import YamlTree, show_path
from portdraw.service.access_settings import AccessSettings
from portdraw.service.column_settings import PrivateColumn
from portdraw.service.listen_settings import Listen
from portdraw.service.notification_settings import NotificationSettings
from portdraw.service.receiver_settings import Receiver
from portdraw.service.settings_part import Name, Part


class HistorySettings(Part):
    """Where the history is kept, relative to the settings file."""

    folder: str = "history"
    hot_days: Annotated[int, Field(ge=1, le=400)] = 21


class Poll(Part):
    """How often and how patiently the units are read, in seconds of site time (the deadline in wall time)."""

    every_s: Annotated[float, Field(ge=1, le=3600)] = 30
    slow_every_s: Annotated[float, Field(ge=1, le=86_400)] = 300
    deadline_s: Annotated[float, Field(ge=0.5, le=120)] = 8
    in_flight: Annotated[int, Field(ge=1, le=256)] = 16


class Settings(Part):
    """The whole settings file."""

    format: Literal[1]
    site: str
    history: HistorySettings = HistorySettings()
    listen: Listen = Listen()
    poll: Poll = Poll()
    access: dict[Name, AccessSettings] = Field(default={})
    receivers: dict[Name, Receiver] = Field(default={})
    columns: tuple[PrivateColumn, ...] = ()
    notifications: NotificationSettings | None = None

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

    def mark(self, *parts: str | int) -> tuple[int, int]:
        """Return line and column of a part."""
        return self._tree.mark(parts)

    def where(self, *parts: str) -> str:
        """Return the place of a part as errors name it: "settings.yaml:9:20: access.terminal-v3.auth_secret"."""
        line, column = self._tree.mark(parts)
        return f"{self.path}:{line}:{column}: {show_path(parts)}"

    @property
    def site_path(self) -> Path:
        """The site file."""
        return self.beside(self.settings.site)

    @property
    def history_folder(self) -> Path:
        """The history folder."""
        return self.beside(self.settings.history.folder)

    def beside(self, name: str) -> Path:
        """Return a path of the settings: relative to their file, or absolute."""
        return (self.path.parent / name).resolve() if not Path(name).is_absolute() else Path(name)


def load_settings(path: Path) -> LoadedSettings:
    """Read a settings file. Raises PlanError with place and sentence for everything that is wrong."""
    return LoadedSettings(path, *load_with_tree(read_text(path), str(path), Settings))
