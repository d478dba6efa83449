"""Fetches secrets from where the settings say they are. Nothing here ever shows one."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from portdraw.reading.access import Access, Community, User
from portdraw.service.access_settings import AccessSettings
from portdraw.service.settings import LoadedSettings, SettingsError
from portdraw.service.settings_part import Secret

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
    """Return every access of the settings with its secrets. Raises SettingsError."""
    folder = loaded.path.parent
    return {name: _access(loaded, name, entry, folder) for name, entry in loaded.settings.access.items()}


def _access(loaded: LoadedSettings, name: str, entry: AccessSettings, folder: Path) -> Access:
    if entry.version == 2:
        assert entry.community is not None
        return Community(fetch(entry.community, folder, loaded.where("access", name, "community")))
    auth = privacy = b""
    if entry.auth != "none" and entry.auth_secret is not None:
        auth = _passphrase(entry.auth_secret, folder, loaded.where("access", name, "auth_secret"))
    if entry.privacy != "none" and entry.privacy_secret is not None:
        privacy = _passphrase(entry.privacy_secret, folder, loaded.where("access", name, "privacy_secret"))
    return User(entry.user or "", entry.auth, auth, entry.privacy, privacy)


def _passphrase(secret: Secret, folder: Path, what: str) -> bytes:
    value = fetch(secret, folder, what)
    if len(value) < LEAST_OCTETS:
        raise SettingsError(f"{what}: shorter than the {LEAST_OCTETS} octets that SNMPv3 asks for (RFC 3414)")
    return value
