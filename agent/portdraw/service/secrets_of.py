"""Fetches secrets from where the settings say they are. Nothing here ever shows one."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TypeVar

from portdraw.reading.access import Access, Community, User
from portdraw.service.access_settings import AccessSettings
from portdraw.service.settings import LoadedSettings, SettingsError
from portdraw.service.settings_part import Secret

Made = TypeVar("Made")

LEAST_OCTETS = 8  # RFC 3414, section 11.2: a password of at least 8 octets
MOST_OCTETS = 4096


def fetch(secret: Secret, folder: Path, what: str) -> bytes:
    """Return a secret's octets without a final line end; `what` begins each error. Raises SettingsError."""
    if secret.env is not None:
        value = os.environ.get(secret.env)
        if not value:
            raise SettingsError(f"{what}: the environment variable {secret.env} is not set")
        return value.encode()
    path = folder / (secret.file or "")
    try:
        with path.open("rb") as file:
            data = file.read(MOST_OCTETS + 1)
    except FileNotFoundError:
        raise SettingsError(f"{what}: there is no file {path}") from None
    except OSError as error:
        raise SettingsError(f"{what}: {path} can't be read: {error.strerror}") from None
    data = data.rstrip(b"\r\n")
    if not data:
        raise SettingsError(f"{what}: {path} is empty")
    if len(data) > MOST_OCTETS:
        raise SettingsError(f"{what}: {path} is larger than {MOST_OCTETS} octets, which no secret is")
    return data


def is_open_to_all(secret: Secret, folder: Path) -> bool:
    """True where every user of this machine may read the secret's file."""
    return secret.file is not None and is_file_open_to_all(folder / secret.file)


def is_file_open_to_all(path: Path) -> bool:
    """True where every user of this machine may read a file; False also where it is not there."""
    try:
        return bool(path.stat().st_mode & stat.S_IROTH)
    except OSError:
        return False


def accesses(loaded: LoadedSettings) -> dict[str, Access]:
    """Return every access of the settings with its secrets. Raises SettingsError, one line for each fault."""
    folder = loaded.path.parent
    known = loaded.settings.access
    return all_or_every_fault({name: partial(_access, loaded, name, entry, folder) for name, entry in known.items()})


def all_or_every_fault(makers: Mapping[str, Callable[[], Made]]) -> dict[str, Made]:
    """Make every part. Raises SettingsError with the faults of all of them, one a line."""
    made: dict[str, Made] = {}
    faults: dict[str, None] = {}
    for name, make in makers.items():
        try:
            made[name] = make()
        except SettingsError as error:
            faults.update(dict.fromkeys(str(error).splitlines()))
    if faults:
        raise SettingsError("\n".join(faults))
    return made


def _access(loaded: LoadedSettings, name: str, entry: AccessSettings, folder: Path) -> Access:
    if entry.version == 2:
        assert entry.community is not None
        return Community(fetch(entry.community, folder, loaded.where("access", name, "community")))
    wanted: dict[str, Secret] = {}
    if entry.auth != "none" and entry.auth_secret is not None:
        wanted["auth_secret"] = entry.auth_secret
    if entry.privacy != "none" and entry.privacy_secret is not None:
        wanted["privacy_secret"] = entry.privacy_secret
    found = all_or_every_fault(
        {
            key: partial(_passphrase, secret, folder, loaded.where("access", name, key))
            for key, secret in wanted.items()
        }
    )
    return User(
        entry.user or "", entry.auth, found.get("auth_secret", b""), entry.privacy, found.get("privacy_secret", b"")
    )


def _passphrase(secret: Secret, folder: Path, what: str) -> bytes:
    value = fetch(secret, folder, what)
    if len(value) < LEAST_OCTETS:
        raise SettingsError(f"{what}: shorter than the {LEAST_OCTETS} octets that SNMPv3 asks for (RFC 3414)")
    return value
