"""The demo's temporary folder: a local copy of the site file, settings, and throw-away secrets."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from portdraw.rehearsal.credentials import Credentials
from portdraw.rehearsal.local_copy import write_local_copy

POLL_EVERY_S = 30


def write_demo_folder(
    folder: Path,
    site_file: Path,
    addresses: Mapping[str, str],
    credentials: Credentials,
    access: str,
    webhook: str,
    port: int,
) -> Path:
    """Write everything that an agent of the emulated site needs; return the settings file."""
    write_local_copy(site_file, addresses, folder)
    for name, secret in (("auth", credentials.auth_secret), ("privacy", credentials.priv_secret)):
        path = folder / name
        path.touch(mode=0o600)
        path.write_text(secret, encoding="utf-8")
    settings = folder / "settings.yaml"
    settings.write_text(
        f"""# EMULATED: settings of a demo; the agents answer on this machine only.
format: 1
site: site.yaml
history: {{folder: history}}
listen: {{host: 127.0.0.1, port: {port}}}
poll: {{every_s: {POLL_EVERY_S}, slow_every_s: 300, deadline_s: 4}}
access:
  {access}:
    version: 3
    user: {credentials.user}
    auth: sha256
    auth_secret: {{file: auth}}
    privacy: aes128
    privacy_secret: {{file: privacy}}
receivers:
  demo-desk: {{webhook: "{webhook}"}}
""",
        encoding="utf-8",
    )
    return settings
