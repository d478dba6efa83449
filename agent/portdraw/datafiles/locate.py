"""Finds a data folder: inside the installed package, or beside the source root in a checkout."""

from __future__ import annotations

from pathlib import Path


class DataFolderMissingError(Exception):
    """A data folder of the program is nowhere to be found; the installation is damaged."""


def data_folder(name: str) -> Path:
    """Return the folder `name` ("mibs" or "dashboards"). Raises DataFolderMissingError with one sentence."""
    package = Path(__file__).resolve().parent.parent
    inside, beside = package / name, package.parent.parent / name
    for folder in (inside, beside):
        if folder.is_dir():
            return folder
    raise DataFolderMissingError(f"the data folder {name!r} is missing: neither {inside} nor {beside} exists")
